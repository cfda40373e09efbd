/** The sync check: both sensors held together and twisted, and the verdict on their clocks. */

import { sendJson } from "../lib/api.js";
import { syncVerdict } from "../models/verdict.js";
import { GuidedSection } from "./guided-section.js";

const TWIST_S = 6;

export class SyncCheck {
  #section; #session = null;

  constructor(element, timers = globalThis) {
    this.#section = new GuidedSection(element, { twist: () => this.#twist() }, timers);
  }

  /** `offered`: the service knows the check. */
  show({ sessionToMark: session, played }, offered) {
    this.#session = session;
    this.#section.show({ hidden: session === null || played || !offered, may: ["twist"] });
  }

  async #twist() {
    const { id } = this.#session;
    const whole = await this.#section.count("Twist", TWIST_S);
    this.#section.show({ hidden: false, may: ["twist"] });
    if (!whole) return;
    try {
      const path = `/api/sessions/${encodeURIComponent(id)}/sync-check`;
      this.#section.say(syncVerdict(await sendJson("POST", path, { seconds: TWIST_S })));
    } catch (error) {
      this.#section.say({ good: false, head: "Repeat", text: error.message });
    }
  }
}
