/** The swings of one session in order, and what the earlier ones say about the last. */

import { isNumber } from "./number-format.js";

const LEAST_FOR_AVERAGE = 2;

export class SessionSwings {
  #swings = [];

  constructor(swings = []) {
    for (const swing of swings) this.add(swing);
  }

  get all() {
    return this.#swings;
  }

  get last() {
    return this.#swings.at(-1) ?? null;
  }

  get count() {
    return this.#swings.length;
  }

  /** @returns whether the swing is new; one that is known (re-analysed, sent again) is replaced. */
  add(swing) {
    const place = this.#swings.findIndex((known) => known.id === swing.id);
    if (place >= 0) this.#swings[place] = swing;
    else this.#swings.push(swing);
    this.#swings.sort((a, b) => a.number - b.number);
    return place < 0;
  }

  /** Mean of a column over the usable swings before `swing`; null below two of them. */
  averageBefore(swing, column) {
    const values = this.#swings
      .filter((other) => other.number < swing.number && other.usable)
      .map((other) => other.metrics[column])
      .filter(isNumber);
    if (values.length < LEAST_FOR_AVERAGE) return null;
    return { mean: values.reduce((sum, value) => sum + value, 0) / values.length, n: values.length };
  }

  /** The last `length` swings' values of a column, oldest first; what is missing is left out. */
  trend(column, length) {
    return this.#swings
      .filter((swing) => isNumber(swing.metrics[column]))
      .slice(-length)
      .map(({ number, usable, metrics }) => ({ number, usable, value: metrics[column] }));
  }
}
