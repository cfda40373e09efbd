/** A session beside an earlier one of the same golfer: the chooser, and number by number. */

import { el, set, write } from "../lib/dom.js";
import { cautionSentences, changeRows } from "../models/change-rows.js";
import { countText, dateText, dayText } from "../models/session-words.js";
import { intervalBar } from "./interval-bar.js";

const NOBODY = "";
const SIGNS = { changed: "\u25cf", "not shown": "\u25cb", "too few swings": "\u2026" };

export class SessionComparison {
  #element; #select; #rows; #notes; #against; #none;

  /** onChoose receives the id of the earlier session, or null for none. */
  constructor(element, onChoose) {
    const part = (name) => element.querySelector(`[data-part=${name}]`);
    this.#element = element;
    this.#select = element.querySelector("select");
    this.#rows = part("rows");
    this.#notes = part("notes");
    this.#against = part("against");
    this.#none = part("none");
    this.#select.addEventListener("change", () => onChoose(this.#select.value || null));
  }

  /** Offers the sessions to compare with; `chosenId` of one of them, or null. */
  offer(sessions, chosenId) {
    const options = sessions.map((session) => el("option", { value: session.id }, optionText(session)));
    this.#select.replaceChildren(el("option", { value: NOBODY }, "Choose an earlier session"), ...options);
    this.#select.value = chosenId ?? NOBODY;
    const offered = sessions.length > 0;
    set(this.#select.parentElement, { hidden: !offered });
    set(this.#none, { hidden: offered });
    this.#element.hidden = false;
  }

  show(comparison, dictionary) {
    const { before, after, confidence } = comparison;
    write(this.#against, `${dayText(before.started_at)}, then ${dayText(after.started_at)}. The line is the `
      + `range of the difference, ${(100 * confidence).toFixed(1)}\u00a0% for each number so that 95\u00a0% hold `
      + "for all of them together; the thin upright line is no change.");
    this.#rows.replaceChildren(...changeRows(comparison, dictionary).map(row));
    this.#notes.replaceChildren(...cautionSentences(comparison, dictionary).map((text) => el("li", {}, text)));
    for (const part of [this.#against, this.#rows, this.#notes]) part.hidden = false;
  }

  clear() {
    for (const part of [this.#against, this.#rows, this.#notes]) part.hidden = true;
  }

  hide() {
    this.#element.hidden = true;
  }
}

function optionText(session) {
  return `${dateText(session.started_at)}, ${session.title}, ${countText(session.swing_count)}`;
}

function row({ column, verdict, before, after, change, range, reason, interval }) {
  const entry = (name, ...value) => el("div", { class: `change-${name}` }, el("dt", {}, name), el("dd", {}, value));
  const label = `Difference ${change}, range ${range}, ${verdict}`;
  return el("li", { class: "change-row", "data-column": column.name, "data-verdict": verdict },
    el("h4", { title: column.description }, column.label),
    el("dl", {}, entry("before", before), entry("after", after),
      entry("difference", el("b", {}, change), range ? el("span", { class: "soft small" }, range) : "")),
    el("div", { class: "change-bar" }, interval ? intervalBar(interval, label) : null),
    el("p", { class: "change-verdict" },
      el("b", {}, el("span", { "aria-hidden": "true" }, `${SIGNS[verdict]} `), verdict),
      el("span", { class: "soft small" }, reason)));
}
