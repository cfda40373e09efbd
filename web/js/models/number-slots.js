/** Which number stands large and which in the tiles: choosing a tile swaps the two. */

import { FIRST_CHOICE, RANGE_NUMBERS } from "./range-numbers.js";

export class NumberSlots {
  #large;
  #tiles;

  /** `column`: the number to stand large; an unknown one falls back to the first choice. */
  constructor(column) {
    const known = RANGE_NUMBERS.find((number) => number.column === column);
    this.#large = known ?? RANGE_NUMBERS.find((number) => number.column === FIRST_CHOICE);
    this.#tiles = RANGE_NUMBERS.filter((number) => number !== this.#large);
  }

  get large() {
    return this.#large;
  }

  get tiles() {
    return this.#tiles;
  }

  choose(place) {
    const chosen = this.#tiles[place];
    this.#tiles[place] = this.#large;
    this.#large = chosen;
  }
}
