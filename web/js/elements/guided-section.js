/** Steps that are counted down on the page, and the verdict on them. */

import { el, write } from "../lib/dom.js";
import { GuidedStep } from "../models/guided-step.js";

export class GuidedSection {
  #element; #buttons; #count; #cancel; #verdict; #step; #doing = "";

  /** `buttons`: names of the parts that begin a step. */
  constructor(element, buttons, timers = globalThis) {
    const part = (name) => element.querySelector(`[data-part=${name}]`);
    this.#element = element;
    this.#buttons = new Map(Object.entries(buttons).map(([name, onPress]) => {
      part(name).addEventListener("click", onPress);
      return [name, part(name)];
    }));
    [this.#count, this.#cancel, this.#verdict] = ["count", "cancel", "verdict"].map(part);
    this.#step = new GuidedStep({ onCount: (count) => this.#counted(count), timers });
    this.#cancel.addEventListener("click", () => this.#step.cancel());
  }

  /** `may`: names of the steps that can begin now. */
  show({ hidden, may }) {
    this.#element.hidden = hidden;
    if (hidden) this.cancel();
    for (const [name, button] of this.#buttons) {
      button.disabled = this.#step.running || !may.includes(name);
    }
  }

  get running() {
    return this.#step.running;
  }

  /** Counts a step down. @returns whether it came to its end. */
  async count(doing, seconds) {
    this.#doing = doing;
    this.#verdict.hidden = true;
    this.#count.hidden = this.#cancel.hidden = false;
    const whole = this.#step.run(seconds);
    for (const button of this.#buttons.values()) button.disabled = true;
    this.#cancel.focus({ preventScroll: true });
    const done = await whole;
    this.#count.hidden = this.#cancel.hidden = true;
    return done;
  }

  cancel() {
    this.#step.cancel();
  }

  /** `good` null: neither good nor bad, a word on the way. */
  say({ good, head, text }) {
    this.#verdict.dataset.good = String(good);
    this.#verdict.replaceChildren(el("h3", {}, head), el("p", {}, text));
    this.#verdict.hidden = false;
  }

  focus(name) {
    this.#buttons.get(name).focus({ preventScroll: true });
  }

  #counted({ phase, left }) {
    write(this.#count, phase === "ready" ? `Get ready: ${left}` : `${this.#doing}: ${left}`);
  }
}
