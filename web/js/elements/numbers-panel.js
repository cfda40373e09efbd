/** All numbers of one swing in groups, each with unit, uncertainty and mark of an estimate. */

import { el } from "../lib/dom.js";
import { metricGroups } from "../models/metric-groups.js";
import { DWELL_MEANING, isDwell, kindText, swingNumberText } from "../models/swing-number.js";
import { uncertaintyText, UNCERTAINTY_MEANING } from "../models/uncertainty.js";

export class NumbersPanel {
  #element;

  constructor(element) {
    this.#element = element;
  }

  show(swing, dictionary) {
    const groups = metricGroups(dictionary.names.filter((name) => name in swing.metrics));
    this.#element.replaceChildren(...groups.map((group) => card(group, swing, dictionary)));
  }
}

function card({ title, names }, swing, dictionary) {
  const columns = names.map((name) => dictionary.get(name));
  const notes = [
    columns.some((column) => column.name in swing.uncertainty) ? UNCERTAINTY_MEANING : null,
    columns.some((column) => isDwell(swing, column.name)) ? DWELL_MEANING : null,
  ];
  return el("section", { class: "numbers-card sheet" },
    el("h3", {}, title),
    el("dl", { class: "numbers-list" }, columns.map((column) => entry(column, swing))),
    el("details", {}, el("summary", {}, "What these mean"),
      el("dl", { class: "meanings" }, columns.flatMap((column) => [
        el("dt", {}, column.label), el("dd", {}, column.description)])),
      notes.filter(Boolean).map((note) => el("p", { class: "soft small" }, note))));
}

function entry(column, swing) {
  const dwell = isDwell(swing, column.name);
  const uncertainty = dwell ? "" : uncertaintyText(swing.uncertainty[column.name], column);
  const kind = kindText(column, swing);
  return el("div", { "data-column": column.name },
    el("dt", { title: column.description }, column.label, kind ? " " : null,
      kind ? el("span", { class: "estimate" }, kind) : null),
    el("dd", {}, el("b", { title: dwell ? DWELL_MEANING : null }, swingNumberText(swing, column)),
      uncertainty ? el("span", { class: "soft small", title: UNCERTAINTY_MEANING }, ` ${uncertainty}`) : null));
}
