/** A step that is counted down: get ready 3-2-1, then do it for so many seconds. */

export const READY_S = 3;

const TICK_MS = 1000;

export class GuidedStep {
  #timers; #onCount; #timer = null; #resolve = null;

  /** onCount receives {phase: "ready" | "doing", left} once a second. */
  constructor({ onCount, timers = globalThis }) {
    this.#onCount = onCount;
    this.#timers = timers;
  }

  get running() {
    return this.#resolve !== null;
  }

  /** @returns whether it was counted to the end; false where it was cancelled. */
  run(seconds) {
    this.cancel();
    const counts = [...countsOf("ready", READY_S), ...countsOf("doing", seconds)];
    return new Promise((resolve) => {
      this.#resolve = resolve;
      this.#next(counts);
    });
  }

  cancel() {
    this.#timers.clearTimeout(this.#timer);
    this.#end(false);
  }

  #next([count, ...rest]) {
    if (count === undefined) {
      this.#end(true);
      return;
    }
    this.#onCount(count);
    this.#timer = this.#timers.setTimeout(() => this.#next(rest), TICK_MS);
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
