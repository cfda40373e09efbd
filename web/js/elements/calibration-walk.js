/** The calibration: stand still, bow, verdict; up to three times, because repeats add up. */

import { write } from "../lib/dom.js";
import { mark } from "../lib/sensor-orders.js";
import { repeatLabel, repeatsText } from "../models/calibration-repeats.js";
import { calibrationVerdict } from "../models/verdict.js";
import { GuidedSection } from "./guided-section.js";

const SECONDS = { stand: 3, bow: 7 };
const PARTS = [
  ["ready", 3, "Get ready to stand"],
  ["stand", SECONDS.stand, "Stand tall and still"],
  ["bow", SECONDS.bow, "Bow and rise, twice"],
];
const VERDICT_WITHIN_MS = 15_000;
const READING = { good: null, head: "Done", text: "Reading the calibration\u2026" };
const NO_VERDICT = {
  good: false,
  head: "Repeat",
  text: "No verdict came from the service. See that both sensors stream, then stand and bow again.",
};

export class CalibrationWalk {
  #section; #timers; #toDo; #walk; #range;
  #session = null; #played = false; #repeats = 0;
  #running = false; #come = null; #wait = null; #silent = true;

  constructor(element, timers = globalThis) {
    this.#section = new GuidedSection(element, { walk: () => this.#run() }, { timers });
    this.#timers = timers;
    this.#toDo = [...element.querySelectorAll("[data-part=how], [data-part=steps]")];
    this.#walk = element.querySelector("[data-part=walk]");
    this.#range = element.querySelector("[data-part=range]");
  }

  /** `sessionToMark`: null for none; `played`: a program calibrates it; `repeats`: good ones. */
  show({ sessionToMark: session, played, calibration, repeats }) {
    if (session?.id !== this.#session?.id) this.#restart();
    this.#session = session;
    this.#played = played;
    this.#repeats = repeats;
    for (const part of this.#toDo) part.hidden = played;
    write(this.#walk, repeatLabel(repeats));
    this.#range.hidden = this.#running || !calibration?.calibrated;
    this.#offer();
    if (calibration !== null && this.#silent && !this.#running) this.judge(calibration);
  }

  /** A verdict came: over the live channel, or it was there when the page was opened. */
  judge(message) {
    this.#come = message;
    this.#timers.clearTimeout(this.#wait);
    if (this.#running) return;
    const counts = message.calibrated && !this.#played;
    this.#say(calibrationVerdict(message), counts ? repeatsText(this.#repeats) : "");
  }

  #say(verdict, ...more) {
    this.#silent = false;
    this.#section.say(verdict, ...more);
  }

  #offer() {
    const may = this.#running || this.#played ? [] : ["walk"];
    this.#section.show({ hidden: this.#session === null, may });
  }

  #restart() {
    this.#timers.clearTimeout(this.#wait);
    this.#section.reset();
    this.#silent = true;
  }

  async #run() {
    this.#running = this.#silent = true;
    this.#come = null;
    const { whole, refused } = await this.#walked(this.#session.id);
    this.#running = false;
    this.#section.rest();
    this.#offer();
    if (refused) this.#say({ good: false, head: "Repeat", text: refused });
    else if (whole) this.#awaitVerdict();
    this.#section.focus("walk");
  }

  /** Counts and marks. @returns {whole: counted to the end, refused: why a mark was}. */
  async #walked(id) {
    let refused = "";
    const marking = [];
    const whole = await this.#section.count(PARTS, (kind) => {
      if (!(kind in SECONDS)) return;
      marking.push(mark(id, kind, SECONDS[kind]).catch((error) => {
        refused = error.message;
        this.#section.cancel();
      }));
    });
    await Promise.all(marking);
    return { whole, refused };
  }

  /** It may have come before the service answered that the bow is marked. */
  #awaitVerdict() {
    if (this.#come !== null) {
      this.judge(this.#come);
      return;
    }
    this.#say(READING);
    this.#wait = this.#timers.setTimeout(() => this.#say(NO_VERDICT), VERDICT_WITHIN_MS);
  }
}
