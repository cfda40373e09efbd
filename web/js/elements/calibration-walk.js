/** The calibration: stand still, bow, verdict. */

import { sendJson } from "../lib/api.js";
import { calibrationVerdict } from "../models/verdict.js";
import { GuidedSection } from "./guided-section.js";

const STAND_S = 3;
const BOW_S = 5;
const VERDICT_WITHIN_MS = 15_000;
const NO_VERDICT = {
  good: false,
  head: "Repeat",
  text: "No verdict came from the service. See that both sensors stream, then stand and bow again.",
};

export class CalibrationWalk {
  #section; #session = null; #stood = false; #played = false; #wait = null; #timers; #toDo;

  constructor(element, timers = globalThis) {
    const buttons = { stand: () => this.#stand(), bow: () => this.#bow() };
    this.#section = new GuidedSection(element, buttons, timers);
    this.#timers = timers;
    this.#toDo = [...element.querySelectorAll("[data-part=how], [data-part=steps]")];
  }

  /** `session`: the one to mark, null for none; `played`: a program calibrates it. */
  show({ sessionToMark: session, played, calibration }) {
    if (session?.id !== this.#session?.id) this.#stood = false;
    this.#session = session;
    this.#played = played;
    this.#offer();
    for (const part of this.#toDo) part.hidden = played;
    if (played && calibration !== null) this.#section.say(calibrationVerdict(calibration));
  }

  /** A verdict came over the live channel. */
  judge(message) {
    this.#timers.clearTimeout(this.#wait);
    this.#stood = false;
    this.#section.say(calibrationVerdict(message));
    this.#offer();
  }

  #offer() {
    const may = this.#played ? [] : ["stand", ...(this.#stood ? ["bow"] : [])];
    this.#section.show({ hidden: this.#session === null, may });
  }

  async #stand() {
    this.#stood = await this.#marked("stand", "Stand still", STAND_S);
    this.#offer();
    if (this.#stood) {
      this.#section.say({ good: null, head: "Stood", text: "Now press Bow." });
      this.#section.focus("bow");
    }
  }

  async #bow() {
    const marked = await this.#marked("bow", "Bow and rise", BOW_S);
    this.#offer();
    if (!marked) return;
    this.#section.say({ good: null, head: "Done", text: "Reading the calibration\u2026" });
    this.#wait = this.#timers.setTimeout(() => this.#section.say(NO_VERDICT), VERDICT_WITHIN_MS);
  }

  async #marked(kind, doing, seconds) {
    const { id } = this.#session;
    if (!(await this.#section.count(doing, seconds))) return false;
    try {
      await sendJson("POST", `/api/sessions/${encodeURIComponent(id)}/marks/now`, { kind, seconds });
      return true;
    } catch (error) {
      this.#section.say({ good: false, head: "Repeat", text: error.message });
      return false;
    }
  }
}
