/** The one number that is read from where the golfer stands. */

import { set, write } from "../lib/dom.js";
import { widthInDigits } from "../models/number-format.js";
import { readingOf } from "../models/reading.js";
import { COVERAGE_WORDS, UNCERTAINTY_MEANING } from "../models/uncertainty.js";
import { DotTrend } from "./dot-trend.js";

const TREND_SWINGS = 12;
const UNIT_SIZE = 0.42; // of the number, as in the style sheet

export class LargeNumber {
  #element; #parts; #value; #trend;

  /** `element` holds elements with data-part: label, meaning, number, unit, sign, change, ... */
  constructor(element) {
    this.#element = element;
    this.#parts = Object.fromEntries(
      [...element.querySelectorAll("[data-part]")].map((part) => [part.dataset.part, part]),
    );
    this.#value = this.#parts.value;
    this.#trend = new DotTrend(this.#parts.trend);
    element.addEventListener("animationend", () => element.classList.remove("arrived"));
  }

  show(number, swings, dictionary) {
    const reading = readingOf(number, swings, dictionary);
    const { column } = reading;
    write(this.#parts.label, column.label);
    write(this.#parts.meaning, number.meaning);
    write(this.#parts.number, reading.number);
    write(this.#parts.unit, reading.unit);
    write(this.#parts.sign, reading.sign);
    write(this.#parts.change, reading.change);
    write(this.#parts.uncertainty, reading.uncertainty && `${reading.uncertainty} (${COVERAGE_WORDS})`);
    set(this.#parts.uncertainty, { title: UNCERTAINTY_MEANING });
    write(this.#parts.estimate, reading.kind);
    this.#parts.estimate.hidden = reading.kind === "";
    this.#fit(reading.number, reading.unit);
    this.#value.dataset.missing = String(swings.last === null);
    this.#showTrend(column, swings);
    this.#showFlags(swings.last?.flags ?? []);
  }

  /** A short sign that the number is new. */
  arrive() {
    this.#element.classList.remove("arrived");
    void this.#element.offsetWidth; // lets the same animation start again
    this.#element.classList.add("arrived");
  }

  /** As large as the box allows: the style sheet sizes the type by its width in digits. */
  #fit(number, unit) {
    const digits = widthInDigits(number) + UNIT_SIZE * widthInDigits(unit);
    this.#value.style.setProperty("--digits", digits.toFixed(2));
  }

  #showTrend(column, swings) {
    const average = swings.last ? swings.averageBefore(swings.last, column.name) : null;
    this.#trend.show(swings.trend(column.name, TREND_SWINGS), average?.mean ?? null, column);
  }

  #showFlags(flags) {
    this.#parts.flags.hidden = flags.length === 0;
    write(this.#parts.flags, flags.map((flag) => flag.text).join(" "));
  }
}
