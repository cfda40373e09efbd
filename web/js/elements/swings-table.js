/** The swings of a session as a table: headings sort, the number opens the swing. */

import { el, set } from "../lib/dom.js";
import { swingLink } from "../models/deep-link.js";
import { formatNumber } from "../models/number-format.js";
import { bareSwingNumberText } from "../models/swing-number.js";
import { summaryOf } from "../models/session-summary.js";
import { secondText } from "../models/session-words.js";
import { nextOrder, sortSwings } from "../models/swing-sort.js";

const COLUMNS = [
  "separation_top_deg", "separation_gain_deg", "transition_lead_ms", "pelvis_turn_top_deg",
  "upper_back_turn_top_deg", "pelvis_peak_dps", "upper_back_peak_dps", "peak_gap_ms", "tempo",
  "runway_deg", "mean_rate_dps2",
];

export class SwingsTable {
  #table; #onOpen; #swings = []; #dictionary; #order = { key: "number", descending: false };
  #openId = null;

  /** onOpen receives the swing whose row was chosen. */
  constructor(table, onOpen) {
    this.#table = table;
    this.#onOpen = onOpen;
  }

  show(swings, dictionary) {
    this.#swings = swings;
    this.#dictionary = dictionary;
    this.#draw();
  }

  /** Marks the row of the swing in detail. */
  markOpen(swingId) {
    this.#openId = swingId;
    for (const row of this.#table.tBodies[0].rows) {
      set(row, { "aria-current": row.dataset.swing === String(swingId) ? "true" : null });
    }
  }

  #draw() {
    const ordered = sortSwings(this.#swings, this.#order);
    this.#table.tHead.replaceChildren(el("tr", {},
      this.#heading("number", "Swing", ""), el("th", { scope: "col" }, "Time"),
      COLUMNS.map((name) => this.#columnHeading(name)), el("th", { scope: "col", class: "note" }, "Note")));
    this.#table.tBodies[0].replaceChildren(...ordered.map((swing) => this.#row(swing)));
    this.#table.tFoot.replaceChildren(this.#summaryRow("Mean", "mean"), this.#summaryRow("SD", "sd"));
    this.markOpen(this.#openId);
  }

  #columnHeading(name) {
    const { label, unit } = this.#dictionary.get(name);
    return this.#heading(name, label, unit);
  }

  #heading(key, label, unit) {
    const button = el("button", { type: "button", "data-key": key }, label,
      el("span", { "aria-hidden": "true" }, this.#arrow(key)), " ", el("span", { class: "unit" }, unit));
    button.addEventListener("click", () => this.#sortBy(key));
    const sorted = this.#order.key !== key ? null : this.#order.descending ? "descending" : "ascending";
    return el("th", { scope: "col", "aria-sort": sorted }, button);
  }

  #arrow(key) {
    if (this.#order.key !== key) return "";
    return this.#order.descending ? " \u25bc" : " \u25b2";
  }

  #sortBy(key) {
    this.#order = nextOrder(this.#order, key);
    this.#draw();
    this.#table.tHead.querySelector(`[data-key="${key}"]`).focus();
  }

  #row(swing) {
    const link = el("a", { href: swingLink(swing) }, String(swing.number));
    const row = el("tr", { "data-swing": swing.id, "data-usable": String(swing.usable) },
      el("th", { scope: "row" }, link), el("td", {}, secondText(swing.at)),
      COLUMNS.map((name) => el("td", { "data-column": name },
        bareSwingNumberText(swing, this.#dictionary.get(name)))),
      el("td", { class: "note" }, swing.flags.map((flag) => flag.text).join(" ")));
    row.addEventListener("click", (event) => {
      if (event.ctrlKey || event.metaKey || event.shiftKey) return;
      event.preventDefault();
      this.#onOpen(swing);
    });
    return row;
  }

  #summaryRow(label, field) {
    const cells = COLUMNS.map((name) => el("td", {},
      formatNumber(summaryOf(this.#swings, name)[field], this.#dictionary.get(name).decimals)));
    const usable = this.#swings.filter((swing) => swing.usable).length;
    const note = field === "mean" ? `of ${usable} swings without a note` : "spread from swing to swing";
    return el("tr", {}, el("th", { scope: "row" }, label), el("td"), cells, el("td", { class: "note" }, note));
  }
}
