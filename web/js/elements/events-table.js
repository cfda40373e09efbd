/** Every event with its moment and the curves' values there; pressing one moves the playhead. */

import { el } from "../lib/dom.js";
import { formatSigned, formatWithUnit } from "../models/number-format.js";
import { CURVES } from "../models/swing-curves.js";

const MOMENT = { unit: "ms", decimals: 0 };

export class EventsTable {
  #table; #playhead;

  constructor(table, playhead) {
    this.#table = table;
    this.#playhead = playhead;
  }

  show(curves, events) {
    const heads = ["Event", "From the top", ...Object.values(CURVES).map((curve) => curve.label)];
    this.#table.tHead.replaceChildren(el("tr", {}, heads.map((head) => el("th", { scope: "col" }, head))));
    this.#table.tBodies[0].replaceChildren(...events.map((event) => this.#row(curves, event)));
  }

  #row(curves, { label, time }) {
    const button = el("button", { type: "button" }, label);
    button.addEventListener("click", () => this.#playhead.moveTo(time));
    const values = Object.entries(CURVES).map(([name, curve]) =>
      el("td", {}, formatWithUnit(curves.at(name, time), curve)));
    return el("tr", {}, el("th", { scope: "row" }, button), el("td", {}, formatWithUnit(time * 1000, MOMENT, formatSigned)), values);
  }
}
