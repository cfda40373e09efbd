/** One sensor: what it is, how well it is heard, where it is worn, how it is doing, how it turns. */

import { el, set, svg, write } from "../lib/dom.js";
import { barShare } from "../models/motion-bar.js";
import { factTexts, isTrouble, phaseText, SEGMENTS, segmentName, sendsNothing } from "../models/sensor-facts.js";
import { sentence } from "../models/sensors-line.js";
import { signalStrength } from "../models/signal-strength.js";
import { FixingChoice } from "./fixing-choice.js";
import { LINES, VelocityTrace } from "./velocity-trace.js";

const MARKS = { pelvis: "line-pelvis", upper_back: "line-upper-back" };
const BARS = [1, 2, 3, 4];

export class SensorCard {
  #name = el("h3"); #phase = el("span", { class: "phase" }); #kind = el("span", { class: "soft small" });
  #signal; #signalText = el("span", { class: "small" }); #bars; #buttons; #choice;
  #text = el("p", { class: "wide" }); #facts; #factItems; #motion; #bar = el("span");
  #isLive = false; #held; #trace; #plot; #wait = el("span", { class: "small soft" });

  /** `segment`: whose line is drawn. onAssign receives the segment, null to take it away; onHold
   * what holds it there. */
  constructor(segment, { onAssign, onHold }) {
    this.#held = new FixingChoice(onHold);
    this.#bars = BARS.map((n) => svg("rect", { x: n * 7 - 6, y: 20 - n * 5, width: 5, height: n * 5 }));
    const picture = svg("svg", { viewBox: "0 0 28 20", "aria-hidden": "true" }, this.#bars);
    this.#signal = el("p", { class: "signal wide" }, picture, this.#signalText);
    this.#buttons = new Map(SEGMENTS.map((one) => [one, this.#button(one, onAssign)]));
    this.#choice = el("div", { class: "pair wide", role: "group" }, ...this.#buttons.values());
    this.#factItems = [0, 1, 2, 3].map(() => el("li"));
    this.#facts = el("ul", { class: "facts small wide" }, this.#factItems);
    this.#motion = el("div", { class: "motion wide", "aria-hidden": "true" }, this.#bar);
    this.#plot = plot(segment, this.#wait);
    this.#trace = new VelocityTrace(this.#plot, [LINES[segment]].filter(Boolean));
    const head = [this.#name, this.#phase, this.#kind];
    const rest = [this.#signal, this.#text, this.#motion, this.#plot, this.#facts, this.#choice, this.#held.element];
    this.element = el("li", { class: "sensor" }, ...head, ...rest);
  }

  connect() {
    this.#trace.connect();
  }

  disconnect() {
    this.#trace.disconnect();
  }

  /** `sensor` as the service tells it; `running`: it streams into a session, and stays in place;
   * `waits`: why no trace comes although this sensor streams. */
  show(sensor, { running, busy, waits }) {
    const { name, profile, segment, phase, text } = sensor;
    set(this.element, { "data-segment": segment, "data-trouble": String(isTrouble(phase)) });
    write(this.#name, running ? `${segmentName(segment)}: ${name}` : name);
    write(this.#phase, phaseText(phase, sensor.rssi_dbm));
    write(this.#kind, profile ?? "");
    this.#kind.hidden = !profile || running;
    write(this.#text, text ? sentence(text) : "");
    this.#text.hidden = !text;
    this.#showSignal(sensor, running);
    this.#showChoice(sensor, busy);
    this.#choice.hidden = running;
    this.#held.show(sensor, { running, busy });
    this.#facts.hidden = this.#motion.hidden = this.#plot.hidden = !running;
    const facts = factTexts(sensor);
    this.#factItems.forEach((item, index) => write(item, facts[index]));
    write(this.#wait, waits);
    this.#isLive = running && !sendsNothing(phase);
    if (!this.#isLive) this.move(null, false);
  }

  /** Size of the angular rate now, deg/s; `isMoving`: it clearly moves and the other does not. */
  move(dps, isMoving) {
    const share = this.#isLive ? barShare(dps) : 0;
    this.#bar.style.transform = `scaleX(${share.toFixed(3)})`;
    this.element.dataset.moving = String(this.#isLive && isMoving);
  }

  /** A trace message of the live channel. */
  draw(trace) {
    this.#trace.push(trace);
  }

  #button(segment, onAssign) {
    const line = svg("svg", { viewBox: "0 0 44 14", "aria-hidden": "true" });
    line.append(svg("path", { class: MARKS[segment], d: "M1 7H43" }));
    const button = el("button", { type: "button", "data-choose": segment }, segmentName(segment), line);
    button.addEventListener("click", () => {
      onAssign(button.getAttribute("aria-pressed") === "true" ? null : segment);
    });
    return button;
  }

  #showSignal({ rssi_dbm: rssi }, running) {
    const { bars, text } = signalStrength(rssi);
    this.#signal.hidden = running;
    this.#bars.forEach((bar, index) => set(bar, { class: index < bars ? "on" : null }));
    write(this.#signalText, bars === 0 ? `Signal ${text}` : `Signal ${text} (${rssi}\u00a0dBm)`);
  }

  #showChoice({ name, segment }, busy) {
    set(this.#choice, { "aria-label": `Where ${name} is worn` });
    for (const [which, button] of this.#buttons) {
      button.setAttribute("aria-pressed", String(which === segment));
      button.setAttribute("aria-disabled", String(busy)); // disabled would drop the focus
    }
  }
}

function plot(segment, wait) {
  const label = `Turning speed of the ${segmentName(segment).toLowerCase()} over the last 8 seconds`;
  const canvas = el("canvas", { role: "img", "aria-label": label });
  const scale = el("span", { class: "trace-scale small soft" });
  return el("div", { class: "turning wide" }, el("p", { class: "turning-head" }, wait, scale), canvas);
}
