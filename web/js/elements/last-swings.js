/** Range's table of the last swings, newest first. */

import { el } from "../lib/dom.js";
import { formatWithUnit } from "../models/number-format.js";
import { RANGE_NUMBERS } from "../models/range-numbers.js";
import { swingLink } from "../models/deep-link.js";

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
  return el("tr", {}, labels.map((label) => el("th", { scope: "col" }, label)));
}

function row(swing, dictionary) {
  const link = el("a", { href: swingLink(swing) }, String(swing.number));
  const cells = RANGE_NUMBERS.map(({ column }) => el("td", {},
    formatWithUnit(swing.metrics[column], dictionary.get(column))));
  const note = el("td", { class: "note" }, swing.flags.map((flag) => flag.text).join(" "));
  return el("tr", { "data-usable": String(swing.usable) }, el("th", { scope: "row" }, link), cells, note);
}
