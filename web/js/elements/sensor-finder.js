/** Find sensors, say which is worn where, and see which is which by moving one. */

import { write } from "../lib/dom.js";
import { movingSegment } from "../models/motion-bar.js";
import { SEGMENTS } from "../models/sensor-facts.js";
import { SensorCard } from "./sensor-card.js";

const ELSEWHERE = "These streams do not come through this page's radio: another collector sends them.";
const PLAYED = "This session is simulated or replayed: no Bluetooth sensor is used.";

export class SensorFinder {
  #parts; #list; #cards = new Map(); #onAssign;

  /** onAssign receives address and segment. */
  constructor(element, { onScan, onAssign, onSwap }) {
    this.#parts = Object.fromEntries(
      [...element.querySelectorAll("[data-part]")].map((part) => [part.dataset.part, part]),
    );
    this.#list = this.#parts.list;
    this.#onAssign = onAssign;
    this.#parts.scan.addEventListener("click", () => {
      if (this.#parts.scan.getAttribute("aria-disabled") !== "true") onScan();
    });
    this.#parts.swap.addEventListener("click", onSwap);
  }

  /** `busy`: an order is on its way. */
  show(state, busy) {
    const { radio, fromElsewhere } = state;
    const { head, note, scan, hint, swap } = this.#parts;
    const running = radio.streaming || fromElsewhere;
    write(head, running ? "Sensors now" : "Find and assign");
    note.hidden = radio.streaming;
    if (fromElsewhere) write(note, state.played ? PLAYED : ELSEWHERE);
    else write(note, "Switch both sensors on and keep them within a few metres.");
    scan.hidden = running;
    scan.disabled = !radio.enabled;
    scan.setAttribute("aria-disabled", String(busy || radio.scanning)); // keeps the focus
    write(scan, radio.scanning ? "Looking\u2026" : "Find sensors");
    hint.hidden = !running || state.played;
    swap.hidden = !radio.streaming;
    swap.disabled = busy;
    this.#showCards(rowsOf(state), { running, busy });
  }

  /** Bars follow what the sensors turn at, deg/s. */
  move(motion) {
    const moving = movingSegment(motion);
    for (const { card, segment } of this.#cards.values()) {
      card.move(motion[`${segment}_dps`] ?? null, moving !== null && moving === segment);
    }
  }

  /** Cards stay the same elements, so that focus stays where it is. */
  #showCards(rows, how) {
    const keys = new Set(rows.map(({ key }) => key));
    for (const [key, { card }] of this.#cards) {
      if (keys.has(key)) continue;
      card.element.remove();
      this.#cards.delete(key);
    }
    for (const { key, sensor } of rows) {
      const known = this.#cards.get(key) ?? this.#added(key, sensor);
      known.segment = sensor.segment;
      known.card.show(sensor, how);
    }
    const wanted = rows.map(({ key }) => this.#cards.get(key).card.element);
    if (wanted.some((one, index) => this.#list.children[index] !== one)) this.#list.append(...wanted);
  }

  #added(key, { address }) {
    const card = new SensorCard((segment) => this.#onAssign(address, segment));
    const known = { card, segment: null };
    this.#cards.set(key, known);
    this.#list.append(card.element);
    return known;
  }
}

/** What is shown: the radio's sensors, or the streams that another collector brings. */
function rowsOf({ radio, sensors, streams, fromElsewhere }) {
  if (fromElsewhere) {
    return streams.map((stream) => ({
      key: stream.stream_id,
      sensor: { ...stream, name: stream.sensor, phase: stream.state },
    }));
  }
  const worn = SEGMENTS.map((segment) => sensors.find((one) => one.segment === segment));
  const shown = radio.streaming ? worn.filter(Boolean) : sensors;
  return shown.map((sensor) => ({ key: sensor.address, sensor }));
}
