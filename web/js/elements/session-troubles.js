/** When a session's sensors were silent, slow or losing samples: one line each. */

import { el } from "../lib/dom.js";
import { troubleLines } from "../models/trouble-lines.js";

export class SessionTroubles {
  #element; #list;

  constructor(element) {
    this.#element = element;
    this.#list = element.querySelector("ul");
  }

  show(troubles) {
    const lines = troubleLines(troubles);
    this.#list.replaceChildren(...lines.map((line) => el("li", {}, line)));
    this.#element.hidden = lines.length === 0;
  }
}
