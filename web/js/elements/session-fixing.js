/** What held the sensors of an ended session: said after it, its swings are analysed again. */

import { getJson, sendJson } from "../lib/api.js";
import { el, write } from "../lib/dom.js";
import { FIXINGS, fixingText } from "../models/fixing.js";
import { SEGMENTS, segmentName } from "../models/sensor-facts.js";

export class SessionFixing {
  #element; #summary; #choices = new Map(); #again; #said; #session = null; #onChanged;

  /** onChanged: the session's numbers are new. */
  constructor(element, onChanged) {
    this.#element = element;
    this.#onChanged = onChanged;
    this.#summary = el("summary");
    this.#again = el("button", { type: "button" }, "Analyse again");
    this.#again.addEventListener("click", () => this.#sayAndAnalyse());
    this.#said = el("p", { class: "small", role: "status" });
    const labels = SEGMENTS.map((segment) => this.#choice(segment));
    element.replaceChildren(this.#summary, el("div", { class: "fixing-choices" }, ...labels, this.#again), this.#said);
  }

  /** For a session that is calibrated and over; for others there is nothing to say. */
  async show(session) {
    this.#session = session;
    this.#element.hidden = true;
    if (session.open || !session.calibrated) return;
    const held = await getJson(this.#path).catch(() => null);
    if (held === null || this.#session !== session) return;
    this.#tell(held);
    write(this.#said, "");
    this.#element.hidden = false;
  }

  get #path() {
    return `/api/sessions/${encodeURIComponent(this.#session.id)}/fixing`;
  }

  #choice(segment) {
    const options = FIXINGS.map(({ value, text }) => el("option", { value }, text));
    const select = el("select", { "data-held": segment }, ...options);
    this.#choices.set(segment, select);
    return el("label", {}, `${segmentName(segment)} sensor held by`, select);
  }

  #tell(held) {
    for (const [segment, select] of this.#choices) select.value = held[segment] ?? "";
    const texts = SEGMENTS.map((segment) => fixingText(held[segment]));
    const alike = texts[0] === texts[1] ? texts[0] : `${texts[0]} (pelvis), ${texts[1]} (upper back)`;
    write(this.#summary, `Sensors held by: ${alike}`);
  }

  async #sayAndAnalyse() {
    const held = Object.fromEntries([...this.#choices].map(([segment, { value }]) => [segment, value || null]));
    this.#again.disabled = true;
    write(this.#said, "Analysing every swing again\u2026");
    try {
      this.#tell(await sendJson("PUT", this.#path, held));
      write(this.#said, "Done: the numbers below are new.");
      this.#onChanged(this.#session);
    } catch (error) {
      write(this.#said, error.message);
    }
    this.#again.disabled = false;
  }
}
