/** Steps that are counted down on the page, and the verdict on them. */

import { el, set, write } from "../lib/dom.js";
import { GuidedStep } from "../models/guided-step.js";

export class GuidedSection {
  #element; #buttons; #count; #doing = el("span", { role: "status" });
  #left = el("span", { class: "left", "aria-hidden": "true" });
  #cancel; #verdict; #steps; #step; #words = {}; #onPart = () => {};

  /** `buttons`: what to do where one of these parts is pressed; onCancel hears of a press on cancel. */
  constructor(element, buttons, { timers = globalThis, onCancel = () => {} } = {}) {
    const part = (name) => element.querySelector(`[data-part=${name}]`);
    this.#element = element;
    this.#buttons = new Map(Object.entries(buttons).map(([name, onPress]) => {
      part(name).addEventListener("click", onPress);
      return [name, part(name)];
    }));
    [this.#count, this.#cancel, this.#verdict] = ["count", "cancel", "verdict"].map(part);
    this.#count.replaceChildren(this.#doing, this.#left);
    this.#steps = [...element.querySelectorAll("[data-phase]")];
    this.#step = new GuidedStep({
      onCount: ({ phase, left }) => this.tell(phase, this.#words[phase], left),
      onPart: (phase) => this.#onPart(phase),
      timers,
    });
    this.#cancel.addEventListener("click", () => {
      this.cancel();
      onCancel();
    });
  }

  /** `may`: names of the buttons that can be pressed now. */
  show({ hidden, may }) {
    this.#element.hidden = hidden;
    if (hidden) this.cancel();
    if (this.busy) return;
    for (const [name, button] of this.#buttons) button.hidden = !may.includes(name);
  }

  /** Whether something is counted or asked for. */
  get busy() {
    return !this.#count.hidden;
  }

  /** Counts `parts` down: [[phase, seconds, words], ...]; onPart hears of each that has ended.
   * @returns whether they came to their end. */
  async count(parts, onPart = () => {}) {
    this.#words = Object.fromEntries(parts.map(([phase, , words]) => [phase, words]));
    this.#onPart = onPart;
    const whole = await this.#step.run(parts);
    if (!whole) this.rest();
    return whole;
  }

  /** Says what is to be done now; `left` seconds. */
  tell(phase, words, left = "") {
    this.#verdict.hidden = true;
    this.#mark(phase);
    write(this.#doing, words);
    write(this.#left, String(left));
    if (this.busy) return;
    this.#count.hidden = this.#cancel.hidden = false;
    for (const button of this.#buttons.values()) button.hidden = true;
    this.#cancel.focus({ preventScroll: true });
    this.#element.scrollIntoView({ block: "nearest" });
  }

  /** Nothing is to be done any more. */
  rest() {
    this.#count.hidden = this.#cancel.hidden = true;
    this.#mark(null);
  }

  cancel() {
    this.#step.cancel();
    this.rest();
  }

  /** Cancels, and takes back what was said. */
  reset() {
    this.cancel();
    this.#verdict.hidden = true;
  }

  /** `good` null: neither good nor bad, a word on the way. `more`: further texts. */
  say({ good, head, text }, ...more) {
    this.#verdict.dataset.good = String(good);
    const texts = [text, ...more].filter(Boolean).map((one) => el("p", {}, one));
    this.#verdict.replaceChildren(el("h3", {}, head), ...texts);
    this.#verdict.hidden = false;
  }

  focus(name) {
    (this.#buttons.get(name) ?? this.#cancel).focus({ preventScroll: true });
  }

  #mark(phase) {
    for (const one of this.#steps) set(one, { "aria-current": one.dataset.phase === phase && "step" });
  }
}
