/** The scale check: one sensor turned whole turns flat on a table, about each of three faces. */

import { el, set, write } from "../lib/dom.js";
import { scaleCheck, scaleStanding } from "../lib/sensor-orders.js";
import { faces, LONGEST_S, scaleVerdict } from "../models/scale-turns.js";
import { GuidedSection } from "./guided-section.js";

const STILL_S = 3;
const STILL = [["still", STILL_S, "Let it lie still"]];

export class ScaleCheck {
  #section; #parts; #faces; #choices; #clock; #timers;
  #session = null; #segment = "pelvis"; #checks = new Map(); #began = null; #late = null; #asked = null;

  /** `clock`: gives ms that only grow. */
  constructor(element, timers = globalThis, clock = () => performance.now()) {
    const buttons = { begin: () => this.#begin(), lies: () => this.#lies() };
    this.#section = new GuidedSection(element, buttons, { timers, onCancel: () => this.#cancelled() });
    this.#parts = Object.fromEntries(
      [...element.querySelectorAll("[data-part]")].map((part) => [part.dataset.part, part]),
    );
    this.#faces = faces().map(() => el("li"));
    this.#parts.faces.replaceChildren(...this.#faces);
    this.#choices = [...element.querySelectorAll("[data-choose]")];
    for (const button of this.#choices) {
      button.addEventListener("click", () => this.#choose(button.dataset.choose));
    }
    [this.#timers, this.#clock] = [timers, clock];
  }

  /** `offered`: the service knows the check. */
  show({ sessionToMark: session, played }, offered) {
    if (session?.id !== this.#session?.id) this.#restart();
    this.#session = session;
    const hidden = session === null || played || !offered;
    this.#offer(hidden);
    if (!hidden && this.#asked !== session.id) this.#ask(session.id);
  }

  /** What was done before this page was opened: once a session. */
  async #ask(id) {
    this.#asked = id;
    const standing = await scaleStanding(id).catch(() => []);
    if (this.#session?.id !== id) return;
    for (const one of standing) {
      if (!this.#checks.has(one.segment)) this.#checks.set(one.segment, one);
    }
    this.#offer(false);
  }

  #offer(hidden) {
    this.#section.show({ hidden, may: ["begin"] });
    const still = this.#section.busy;
    this.#parts.setting.hidden = still;
    for (const button of this.#choices) {
      set(button, { "aria-pressed": String(button.dataset.choose === this.#segment) });
    }
    const check = this.#checks.get(this.#segment);
    write(this.#parts.had, check?.axis ? "" : check?.text ?? ""); // of a set just made, the verdict says it
    faces(check).forEach(({ done, text }, index) => {
      write(this.#faces[index], text);
      set(this.#faces[index], { "data-done": String(done) });
    });
  }

  #choose(segment) {
    this.#segment = segment;
    this.#section.reset();
    this.#offer(false);
  }

  #restart() {
    this.#timers.clearTimeout(this.#late);
    this.#checks.clear();
    this.#section.reset();
  }

  async #begin() {
    this.#began = this.#clock();
    this.#parts.setting.hidden = true;
    if (!(await this.#section.count(STILL))) return this.#offer(this.#session === null);
    const turns = this.#turns();
    const words = turns === 1 ? "Turn it once around" : `Turn it ${turns} times around`;
    this.#section.tell("turn", `${words}, back against the edge`);
    this.#parts.lies.hidden = false;
    this.#parts.lies.focus({ preventScroll: true });
    const left = 1000 * (LONGEST_S - STILL_S) - (this.#clock() - this.#began);
    this.#late = this.#timers.setTimeout(() => this.#tooLate(), left);
  }

  #cancelled() {
    this.#timers.clearTimeout(this.#late);
    this.#offer(this.#session === null);
  }

  #tooLate() {
    this.#section.cancel();
    this.#section.say({ good: false, head: "Repeat", text: `That took longer than ${LONGEST_S} s. Begin again.` });
    this.#offer(false);
  }

  async #lies() {
    this.#timers.clearTimeout(this.#late);
    this.#parts.lies.hidden = true;
    this.#section.focus("cancel");
    if (await this.#section.count(STILL)) this.#section.say(await this.#verdict());
    this.#section.rest();
    this.#offer(this.#session === null);
    this.#section.focus("begin");
  }

  async #verdict() {
    const seconds = Math.min(LONGEST_S, Math.floor((this.#clock() - this.#began) / 1000));
    try {
      const found = await scaleCheck(this.#session.id, this.#segment, this.#turns(), seconds);
      this.#checks.set(this.#segment, found);
      return scaleVerdict(found);
    } catch (error) {
      return { good: false, head: "Repeat", text: error.message };
    }
  }

  #turns() {
    return Number(this.#parts.turns.value);
  }
}
