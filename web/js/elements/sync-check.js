/** The sync check: both sensors held together and twisted, and the verdict on their clocks. */

import { write } from "../lib/dom.js";
import { syncCheck } from "../lib/sensor-orders.js";
import { syncAdvice } from "../models/sync-advice.js";
import { syncVerdict } from "../models/verdict.js";
import { GuidedSection } from "./guided-section.js";

const TWIST_S = 6;
const PARTS = [["ready", 3, "Press the two together"], ["twist", TWIST_S, "Twist to and fro, briskly"]];

export class SyncCheck {
  #section; #advice; #session = null;

  constructor(element, timers = globalThis) {
    this.#advice = element.querySelector("[data-part=advice]");
    this.#section = new GuidedSection(element, { twist: () => this.#twist() }, { timers });
  }

  /** `offered`: the service knows the check. */
  show(state, offered) {
    const { sessionToMark: session, played } = state;
    if (session?.id !== this.#session?.id) this.#section.reset();
    this.#session = session;
    const advice = session && syncAdvice(state);
    this.#advice.hidden = !advice;
    write(this.#advice, advice ?? "");
    this.#section.show({ hidden: session === null || played || !offered, may: ["twist"] });
  }

  async #twist() {
    const { id } = this.#session;
    if (await this.#section.count(PARTS)) this.#section.say(await this.#verdict(id));
    this.#section.rest();
    this.#section.show({ hidden: this.#session === null, may: ["twist"] });
    this.#section.focus("twist");
  }

  async #verdict(id) {
    try {
      return syncVerdict(await syncCheck(id, TWIST_S));
    } catch (error) {
      return { good: false, head: "Repeat", text: error.message };
    }
  }
}
