/** The moment of the swing that charts, overhead view and slider all show. */

export class Playhead {
  #time = 0; #start = 0; #end = 0; #listeners = new Set();

  get time() {
    return this.#time;
  }

  get start() {
    return this.#start;
  }

  get end() {
    return this.#end;
  }

  /** A new swing: its stretch, s before and after the top, and the moment to begin at. */
  reset(start, end, time) {
    this.#start = start;
    this.#end = end;
    this.moveTo(time);
  }

  /** Moves there, kept within the swing, and tells every listener. */
  moveTo(time) {
    this.#time = Math.min(Math.max(time, this.#start), this.#end);
    for (const listener of this.#listeners) listener(this.#time);
  }

  /** @returns a function that ends the listening. */
  listen(listener) {
    this.#listeners.add(listener);
    return () => this.#listeners.delete(listener);
  }
}
