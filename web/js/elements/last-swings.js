/** Range's table of the last swings, newest first. */

import { el } from "../lib/dom.js";
import { RANGE_NUMBERS } from "../models/range-numbers.js";
import { swingLink } from "../models/deep-link.js";
import { swingNumberText } from "../models/swing-number.js";

const SHOWN = 12;

export class LastSwings {
  #element;

  /** `element`: the section with a table in it. */
  constructor(element) {
    this.#element = element;
  }

  show(swings, dictionary) {
    const rows = swings.all.slice(-SHOWN).reverse();
    this.#element.hidden = rows.length === 0;
    const table = this.#element.querySelector("table");
    table.tHead.replaceChildren(head(dictionary));
    table.tBodies[0].replaceChildren(...rows.map((swing) => row(swing, dictionary)));
  }
}

function head(dictionary) {
  const labels = ["Swing", ...RANGE_NUMBERS.map(({ column }) => dictionary.get(column).label), "Note"];
  const last = labels.length - 1;
  return el("tr", {}, labels.map((label, i) =>
    el("th", { scope: "col", class: i === last ? "note" : null }, label)));
}

function row(swing, dictionary) {
  const link = el("a", { href: swingLink(swing) }, String(swing.number));
  const cells = RANGE_NUMBERS.map(({ column }) => el("td", {},
    swingNumberText(swing, dictionary.get(column))));
  const note = el("td", { class: "note" }, swing.flags.map((flag) => flag.text).join(" "));
  return el("tr", { "data-usable": String(swing.usable) }, el("th", { scope: "row" }, link), cells, note);
}
