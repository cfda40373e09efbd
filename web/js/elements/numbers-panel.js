/** All numbers of one swing in groups, each with unit, uncertainty and mark of an estimate. */

import { el } from "../lib/dom.js";
import { metricGroups } from "../models/metric-groups.js";
import { formatWithUnit } from "../models/number-format.js";
import { uncertaintyText } from "../models/reading.js";

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
  return el("section", { class: "numbers-card sheet" },
    el("h3", {}, title),
    el("dl", { class: "numbers-list" }, columns.map((column) => entry(column, swing))),
    el("details", {}, el("summary", {}, "What these mean"),
      el("dl", { class: "meanings" }, columns.flatMap((column) => [
        el("dt", {}, column.label), el("dd", {}, column.description)]))));
}

function entry(column, swing) {
  const value = formatWithUnit(swing.metrics[column.name], column);
  const uncertainty = uncertaintyText(swing.uncertainty?.[column.name], column);
  return el("div", { "data-column": column.name },
    el("dt", {}, column.label, column.estimate ? " " : null,
      column.estimate ? el("span", { class: "estimate" }, "estimate") : null),
    el("dd", {}, el("b", {}, value),
      uncertainty ? el("span", { class: "soft small", title: "One standard uncertainty" }, ` ${uncertainty}`) : null));
}
