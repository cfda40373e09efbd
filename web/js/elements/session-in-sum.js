/** 'This session': mean, spread and what can be told apart, and how it went from first to last. */

import { el } from "../lib/dom.js";
import { driftSentences, leftOutSentences, summaryRows } from "../models/summary-rows.js";
import { UNCERTAINTY_MEANING } from "../models/uncertainty.js";

const HEADS = [
  ["Number", ""],
  ["Mean", UNCERTAINTY_MEANING],
  ["SD", "Standard deviation: how much it varies from swing to swing"],
  ["MDC95", "Two single swings that differ by less are within the usual variation"],
];

export class SessionInSum {
  #element; #table; #notes;

  /** `element` holds a table and a list of notes. */
  constructor(element) {
    this.#element = element;
    this.#table = element.querySelector("table");
    this.#notes = element.querySelector("[data-part=notes]");
  }

  show(summary, dictionary) {
    const head = ([text, meaning]) => el("th", { scope: "col", title: meaning || null }, text);
    this.#table.tHead.replaceChildren(el("tr", {}, HEADS.map(head)));
    this.#table.tBodies[0].replaceChildren(...summaryRows(summary, dictionary).map(row));
    const cautions = summary.cautions.map(({ text }) => `${text.charAt(0).toUpperCase()}${text.slice(1)}.`);
    const notes = [...driftSentences(summary), ...leftOutSentences(summary), ...cautions];
    this.#notes.replaceChildren(...notes.map((note) => el("li", {}, note)));
    this.#element.hidden = false;
  }

  hide() {
    this.#element.hidden = true;
  }
}

function row({ column, mean, uncertainty, sd, apart }) {
  return el("tr", { "data-column": column.name },
    el("th", { scope: "row", title: column.description }, column.label,
      column.unit ? el("span", { class: "soft" }, `,\u00a0${column.unit}`) : null),
    el("td", {}, el("b", {}, mean), uncertainty ? el("span", { class: "soft small" }, ` ${uncertainty}`) : null),
    el("td", {}, sd), el("td", {}, apart));
}
