/** What stands in place of content: loading, nothing there, or an error with a way on. */

import { el } from "../lib/dom.js";

export class MessageBox {
  #element;

  constructor(element) {
    this.#element = element;
  }

  say(text) {
    this.#element.replaceChildren(el("p", {}, text));
    this.#element.hidden = false;
  }

  /** `retry`: what the button does. */
  fail(error, retry) {
    const button = el("button", { type: "button" }, "Try again");
    button.addEventListener("click", retry);
    this.#element.replaceChildren(el("p", {}, error.message), button);
    this.#element.hidden = false;
  }

  clear() {
    this.#element.hidden = true;
    this.#element.replaceChildren();
  }
}
