/** All that Range knows, built from the messages of the live channel. */

import { LossWatch } from "./loss-watch.js";
import { SessionSwings } from "./session-swings.js";

export class LiveState {
  channel = { kind: "connecting" };
  session = null;
  swings = new SessionSwings();
  streams = [];
  calibration = null;
  trouble = null;
  late = null;
  losing = []; // segments that lose samples now
  #losses = new LossWatch();

  /** Takes one message. @returns what changed: "session", "swing", "status", "trace" or null. */
  apply(message) {
    switch (message.type) {
      case "hello": return this.#hello(message);
      case "session": return this.#session(message.session);
      case "swing": return this.#swing(message.swing);
      case "status": return this.#status(message);
      case "calibration": return this.#calibrated(message);
      case "trace": return "trace";
      default: return null;
    }
  }

  /** Swings of this session fetched in full, to stand under those that came live. */
  backfill(sessionId, swings) {
    if (this.session?.id !== sessionId) return;
    const live = this.swings.all;
    this.swings = new SessionSwings([...swings, ...live]);
  }

  /** How many swings the session has, also where the page holds only the last of them. */
  get swingCount() {
    return Math.max(this.session?.swing_count ?? 0, this.swings.count);
  }

  #hello({ session, swings, streams }) {
    this.#session(session);
    for (const swing of swings) this.swings.add(swing);
    this.streams = streams ?? [];
    return "session";
  }

  /** One that could not be read leaves the one before it in force. */
  #calibrated(message) {
    if (message.calibrated || !this.calibration?.calibrated) this.calibration = message;
    return "status";
  }

  /** Whether traces are drawn about the sensors' own axes: nothing is known of how they are worn. */
  get tracesAreRaw() {
    const open = this.session !== null && !this.session.ended_at;
    return open && this.streams.length > 0 && this.calibration?.calibrated !== true;
  }

  #status({ streams, trouble, late }) {
    this.streams = streams;
    this.losing = this.#losses.update(streams);
    this.trouble = trouble ?? null;
    this.late = late ?? null;
    return "status";
  }

  #session(session) {
    if (session?.id !== this.session?.id) this.swings = new SessionSwings();
    this.session = session;
    if (session && session.calibrated !== undefined) {
      this.calibration = { calibrated: session.calibrated, text: "" };
    }
    return "session";
  }

  #swing(swing) {
    if (swing.session_id !== this.session?.id) return null;
    return this.swings.add(swing) ? "swing" : "session";
  }
}
