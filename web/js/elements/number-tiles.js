/** The other numbers as tiles. Each is a button: pressing it makes its number the large one. */

import { el, set, write } from "../lib/dom.js";
import { readingOf } from "../models/reading.js";
import { UNCERTAINTY_MEANING } from "../models/uncertainty.js";

export class NumberTiles {
  #element; #onChoose; #tiles = [];

  /** onChoose receives the place of the tile pressed. */
  constructor(element, onChoose) {
    this.#element = element;
    this.#onChoose = onChoose;
  }

  show(numbers, swings, dictionary) {
    while (this.#tiles.length < numbers.length) this.#addTile(this.#tiles.length);
    numbers.forEach((number, place) => {
      fill(this.#tiles[place], number, readingOf(number, swings, dictionary), swings);
    });
  }

  #addTile(place) {
    const parts = {
      label: el("span", { class: "tile-label" }),
      estimate: el("span", { class: "estimate" }),
      number: el("span", { class: "tile-number" }),
      unit: el("span", { class: "tile-unit" }),
      uncertainty: el("span", { class: "tile-uncertainty", title: UNCERTAINTY_MEANING }),
      sign: el("span", { class: "tile-sign" }),
      change: el("span", { class: "tile-change" }),
    };
    const value = el("span", { class: "tile-value" }, parts.number, " ",
      el("span", { class: "tile-beside" }, parts.unit, " ", parts.uncertainty));
    const button = el("button", { type: "button", class: "tile" },
      el("span", { class: "tile-head" }, parts.label, " ", parts.estimate), value, parts.sign, parts.change,
      el("span", { class: "for-reader" }, "Show this number large"));
    button.addEventListener("click", () => this.#onChoose(place));
    this.#tiles.push({ ...parts, button });
    this.#element.append(el("li", {}, button));
  }
}

function fill(tile, number, reading, swings) {
  write(tile.label, reading.column.label);
  write(tile.number, reading.number);
  write(tile.unit, reading.unit);
  write(tile.uncertainty, reading.bareUncertainty);
  write(tile.estimate, reading.kind);
  tile.estimate.hidden = reading.kind === "";
  write(tile.sign, swings.last === null ? "" : reading.sign);
  write(tile.change, reading.change);
  set(tile.button, { "data-side": number.side, "data-column": number.column, title: number.meaning });
}
