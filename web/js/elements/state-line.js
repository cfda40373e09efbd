/** The state line: one sentence, louder by shape and weight, not by colour alone. */

import { write } from "../lib/dom.js";

const SIGNS = { calm: "\u2026", ready: "\u25cf", warn: "!", loud: "!" };

export class StateLine {
  #element; #sign; #text; #detail;

  /** `element` holds .state-sign, .state-text (a live region) and .state-detail. */
  constructor(element) {
    this.#element = element;
    this.#sign = element.querySelector(".state-sign");
    this.#text = element.querySelector(".state-text");
    this.#detail = element.querySelector(".state-detail");
  }

  show({ level, text, detail = "" }) {
    this.#element.dataset.level = level;
    write(this.#sign, SIGNS[level]);
    write(this.#text, text);
    write(this.#detail, detail);
  }
}
