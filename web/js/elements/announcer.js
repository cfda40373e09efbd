/** Speaks to screen readers, politely: one text at a time in a live region. */

import { write } from "../lib/dom.js";

export class Announcer {
  #element;

  constructor(element) {
    this.#element = element;
  }

  say(text) {
    write(this.#element, text);
  }
}
