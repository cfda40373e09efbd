/** Find sensors, say which is worn where, and see which is which by moving one. */

import { el, write } from "../lib/dom.js";
import { movingSegment, MovingWords } from "../models/motion-bar.js";
import { SensorCard } from "./sensor-card.js";
import { cardRows, newsLines, traceWaits } from "../models/sensor-rows.js";

const ELSEWHERE = "These streams do not come through this page's radio: another collector sends them.";
const PLAYED = "This session is simulated or replayed: no Bluetooth sensor is used.";
const SWITCH_ON = "Switch both sensors on and keep them within a few metres.";
const EITHER_WAY = "Not sure which is which? Choose either way and press Start: then move one sensor, and the page " +
  "shows which it is.";

export class SensorFinder {
  #parts; #cards = new Map(); #onAssign; #onHold; #words = new MovingWords();

  /** onAssign receives address and segment, onHold address, segment and what holds the sensor there. */
  constructor(element, { onScan, onAssign, onHold, onSwap }) {
    this.#parts = Object.fromEntries(
      [...element.querySelectorAll("[data-part]")].map((part) => [part.dataset.part, part]),
    );
    this.#onAssign = onAssign;
    this.#onHold = onHold;
    const { scan, swap } = this.#parts;
    scan.addEventListener("click", () => scan.getAttribute("aria-disabled") !== "true" && onScan());
    swap.addEventListener("click", onSwap);
  }

  disconnect() {
    for (const { card } of this.#cards.values()) card.disconnect();
    this.#cards.clear();
    this.#parts.list.replaceChildren();
  }

  /** `busy`: an order is on its way. */
  show(state, busy) {
    const { radio, fromElsewhere } = state;
    const { head, note, scan, hint, swap, raw } = this.#parts;
    const running = radio.streaming || fromElsewhere;
    write(head, running ? "Sensors now" : "Find and assign");
    note.hidden = radio.streaming;
    write(note, noteText(state));
    scan.hidden = running;
    scan.disabled = !radio.enabled;
    scan.setAttribute("aria-disabled", String(busy || radio.scanning)); // keeps the focus
    write(scan, radio.scanning ? "Looking\u2026" : "Find sensors");
    const known = running && state.calibration?.calibrated; // worn by then: both move in every swing
    hint.hidden = state.played || known || !(running || state.sensors.length > 0);
    raw.hidden = !running || state.played || state.calibration?.calibrated === true;
    write(hint, running ? this.#words.now : EITHER_WAY);
    swap.hidden = !radio.streaming;
    swap.setAttribute("aria-disabled", String(busy));
    this.#showCards(cardRows(state), { running, busy, state });
    this.#showNews(newsLines(radio.news));
  }

  /** Bars follow what the sensors turn at, deg/s. */
  move(motion) {
    const moving = movingSegment(motion);
    for (const { card, segment } of this.#cards.values()) {
      card.move(motion[`${segment}_dps`] ?? null, moving !== null && moving === segment);
    }
    write(this.#parts.hint, this.#words.after(moving));
    this.#parts.hint.dataset.moving = String(this.#words.tells);
  }

  /** Traces follow the live channel. */
  draw(trace) {
    for (const { card } of this.#cards.values()) card.draw(trace);
  }

  /** Cards stay the same elements, so that focus stays where it is. */
  #showCards(rows, { running, busy, state }) {
    const keys = new Set(rows.map(({ key }) => key));
    for (const [key, { card }] of this.#cards) {
      if (keys.has(key)) continue;
      card.disconnect();
      card.element.remove();
      this.#cards.delete(key);
    }
    for (const { key, sensor } of rows) {
      const known = this.#cards.get(key) ?? this.#added(key, sensor);
      known.segment = sensor.segment;
      known.card.show(sensor, { running, busy, waits: traceWaits(sensor, state) });
    }
    const { list } = this.#parts;
    const wanted = rows.map(({ key }) => this.#cards.get(key).card.element);
    if (wanted.some((one, index) => list.children[index] !== one)) list.append(...wanted);
  }

  #added(key, { address, segment: worn }) {
    const known = { card: null, segment: null };
    const card = new SensorCard(worn, {
      onAssign: (segment) => this.#onAssign(address, segment),
      onHold: (fixing) => this.#onHold(address, known.segment, fixing),
    });
    known.card = card;
    card.connect();
    this.#cards.set(key, known);
    this.#parts.list.append(card.element);
    return known;
  }

  #showNews(lines) {
    this.#parts.news.hidden = lines.length === 0;
    const [, items] = this.#parts.news.children;
    if (items.childElementCount === lines.length && items.firstElementChild?.textContent === lines[0]) return;
    items.replaceChildren(...lines.map((line) => el("li", {}, line)));
  }
}

function noteText({ fromElsewhere, played }) {
  if (!fromElsewhere) return SWITCH_ON;
  return played ? PLAYED : ELSEWHERE;
}
