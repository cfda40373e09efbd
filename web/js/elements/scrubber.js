/** Slider and play button for the moment of the swing. */

import { el, set, write } from "../lib/dom.js";
import { formatWithUnit } from "../models/number-format.js";
import { CURVES } from "../models/swing-curves.js";
import { momentText } from "../models/swing-events.js";

const SLOW = 0.25; // of real speed
const STEP_MS = 5;
const READ = ["pelvisTurn", "upperBackTurn", "separation", "pelvisVelocity", "upperBackVelocity"];

export class Scrubber {
  #slider; #play; #slow; #moment; #readout; #playhead; #curves = null; #frame = null; #undo = [];

  /** `element` holds an input[type=range], [data-do=play], [data-do=slow], .moment and a dl. */
  constructor(element, playhead) {
    this.#slider = element.querySelector("input");
    this.#play = element.querySelector("[data-do=play]");
    this.#slow = element.querySelector("[data-do=slow]");
    this.#moment = element.querySelector(".moment");
    this.#readout = element.querySelector("dl");
    this.#playhead = playhead;
  }

  connect() {
    this.#undo = [
      this.#playhead.listen(() => this.#follow()),
      on(this.#slider, "input", () => {
        this.#stop();
        this.#playhead.moveTo(Number(this.#slider.value) / 1000);
      }),
      on(this.#play, "click", () => (this.#frame === null ? this.#start() : this.#stop())),
      on(this.#slow, "click", () => set(this.#slow, { "aria-pressed": String(!this.#isSlow) })),
    ];
  }

  disconnect() {
    this.#stop();
    for (const undo of this.#undo.splice(0)) undo();
  }

  show(curves) {
    this.#stop();
    this.#curves = curves;
    const { start, end } = this.#playhead;
    set(this.#slider, { min: inSteps(start, Math.ceil), max: inSteps(end, Math.floor), step: STEP_MS });
    this.#follow();
  }

  get #isSlow() {
    return this.#slow.getAttribute("aria-pressed") === "true";
  }

  #follow() {
    const { time } = this.#playhead;
    this.#slider.value = String(Math.round(time * 1000));
    if (this.#curves === null) return;
    const values = READ.map((curve) => [CURVES[curve].label,
      formatWithUnit(this.#curves.at(curve, time), CURVES[curve])]);
    const words = `${momentText(time)}: ${values[2].join(" ").toLowerCase()}`;
    write(this.#moment, words);
    set(this.#slider, { "aria-valuetext": words });
    this.#readout.replaceChildren(...values.map(([label, value]) =>
      el("div", {}, el("dt", {}, label), el("dd", {}, value))));
  }

  #start() {
    const { start, end } = this.#playhead;
    if (this.#playhead.time >= end) this.#playhead.moveTo(start);
    write(this.#play, "Pause");
    let last = null;
    const tick = (now) => {
      const seconds = last === null ? 0 : (now - last) / 1000;
      last = now;
      this.#playhead.moveTo(this.#playhead.time + seconds * (this.#isSlow ? SLOW : 1));
      if (this.#playhead.time >= end) this.#stop();
      else this.#frame = requestAnimationFrame(tick);
    };
    this.#frame = requestAnimationFrame(tick);
  }

  #stop() {
    cancelAnimationFrame(this.#frame);
    this.#frame = null;
    write(this.#play, "Play");
  }
}

/** ms in whole steps, so that the top is one of the slider's stops. */
function inSteps(seconds, round) {
  return round((seconds * 1000) / STEP_MS) * STEP_MS;
}

function on(target, name, listener) {
  target.addEventListener(name, listener);
  return () => target.removeEventListener(name, listener);
}
