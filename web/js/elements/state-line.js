/** The state line: one sentence, louder by shape and weight, not by colour alone. */

import { write } from "../lib/dom.js";

const SIGNS = { calm: "\u2026", ready: "\u25cf", warn: "!", loud: "!" };

export class StateLine {
  #element; #sign; #text;

  /** `element` holds a .state-sign and a .state-text. */
  constructor(element) {
    this.#element = element;
    this.#sign = element.querySelector(".state-sign");
    this.#text = element.querySelector(".state-text");
  }

  show({ level, text }) {
    this.#element.dataset.level = level;
    write(this.#sign, SIGNS[level]);
    write(this.#text, text);
  }
}
