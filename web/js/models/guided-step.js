/** Steps that are counted down one after the other, each for so many seconds. */

const TICK_MS = 1000;

export class GuidedStep {
  #timers; #onCount; #onPart; #timer = null; #resolve = null;

  /** onCount receives {phase, left} once a second; onPart a phase that has come to its end. */
  constructor({ onCount, onPart = () => {}, timers = globalThis }) {
    this.#onCount = onCount;
    this.#onPart = onPart;
    this.#timers = timers;
  }

  get running() {
    return this.#resolve !== null;
  }

  /** `parts`: [[phase, seconds], ...]. @returns whether all were counted to the end; false where
   * they were cancelled. */
  run(parts) {
    this.cancel();
    const counts = parts.flatMap(([phase, seconds]) => countsOf(phase, seconds));
    return new Promise((resolve) => {
      this.#resolve = resolve;
      this.#next(counts, null);
    });
  }

  cancel() {
    this.#timers.clearTimeout(this.#timer);
    this.#end(false);
  }

  #next([count, ...rest], before) {
    if (before !== null && before.left === 1) this.#onPart(before.phase);
    if (!this.running) return; // cancelled by who heard of the part
    if (count === undefined) {
      this.#end(true);
      return;
    }
    this.#onCount(count);
    this.#timer = this.#timers.setTimeout(() => this.#next(rest, count), TICK_MS);
  }

  #end(whole) {
    const resolve = this.#resolve;
    this.#resolve = null;
    resolve?.(whole);
  }
}

function countsOf(phase, seconds) {
  return Array.from({ length: seconds }, (_, index) => ({ phase, left: seconds - index }));
}
