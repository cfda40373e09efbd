/** What holds a sensor to the body. Only the person who put it on knows. */

import { el } from "../lib/dom.js";
import { FIXINGS } from "../models/fixing.js";


const WHY = "A strapped sensor rides a little on skin and cloth: said here, that is taken out of the numbers.";

export class FixingChoice {
  #select; #why = el("span", { class: "small soft" }, WHY);

  /** onHold receives "strapped", "rigid" or null. */
  constructor(onHold) {
    const options = FIXINGS.map(({ value, text }) => el("option", { value }, text));
    this.#select = el("select", { "data-part": "held" }, ...options);
    this.#select.addEventListener("change", () => onHold(this.#select.value || null));
    this.element = el("label", { class: "held wide" }, el("span", {}, "Held by"), this.#select, this.#why);
  }

  /** `busy`: an order is on its way, perhaps this one; what is known of it comes with its answer. */
  show({ name, segment, fixing }, { running, busy }) {
    this.element.hidden = running || !segment;
    this.#select.setAttribute("aria-label", `What holds ${name}`);
    this.#why.hidden = Boolean(fixing);
    if (!busy) this.#select.value = fixing ?? "";
  }
}
