/** All that the Sensors page knows, from the sensors channel and the live channel. */

import { SEGMENTS } from "./sensor-facts.js";

const OFF = { enabled: false, scanning: false, streaming: false, session_id: null, obstacle: null };

export class SensorsState {
  heard = false;
  channel = { kind: "connecting" };
  radio = OFF;
  sensors = [];
  swapped = false;
  session = null;
  streams = [];
  trouble = null;
  late = null;
  calibration = null; // the one in force
  repeats = 0; // stands and bows that it was read from
  #calibratedAt = -Infinity; // stream time, s

  /** Takes the radio's state, from the channel or as the answer to an order. */
  applySensors({ radio, sensors, swapped }) {
    Object.assign(this, { heard: true, radio, sensors, swapped });
  }

  /** Takes one message of the live channel. @returns whether anything shown may differ. */
  applyLive(message) {
    if (message.type === "hello" || message.type === "session") this.#session(message);
    else if (message.type === "status") this.#status(message);
    else if (message.type === "calibration") this.applyCalibration(message);
    else if (message.type === "swing") this.#swung(message.swing);
    else return false;
    return true;
  }

  /** One that could not be read leaves the one before it in force. */
  applyCalibration(message) {
    if (message.calibrated) {
      this.repeats = message.repeats ?? 1;
      this.#calibratedAt = Math.max(...this.streams.map(({ last_seen_s: seen }) => seen ?? 0), 0);
    }
    if (message.calibrated || !this.calibration?.calibrated) this.calibration = message;
  }

  #status({ streams, trouble, late }) {
    this.streams = streams;
    this.trouble = trouble ?? null;
    this.late = late ?? null;
  }

  /** The session that a mark goes into: an open one with both streams. */
  get sessionToMark() {
    const open = this.session !== null && !this.session.ended_at;
    return open && SEGMENTS.every((segment) => this.worn(segment)) ? this.session : null;
  }

  /** Streams that another collector than this page's radio brings. */
  get fromElsewhere() {
    const open = this.session !== null && !this.session.ended_at;
    return this.heard && !this.radio.streaming && open && this.streams.length > 0;
  }

  /** A session that a program plays: its stand and bow are in it, and nobody wears sensors. */
  get played() {
    return this.fromElsewhere &&
      (this.session.invented || this.streams.some(({ sensor }) => /^(simulated|recording)/.test(sensor)));
  }

  get bothAssigned() {
    return SEGMENTS.every((segment) => this.assigned(segment));
  }

  /** The stream of a segment, or undefined. */
  worn(segment) {
    return this.streams.find((stream) => stream.segment === segment);
  }

  /** The sensor assigned to a segment, or undefined. */
  assigned(segment) {
    return this.sensors.find((sensor) => sensor.segment === segment);
  }

  /** Repeats are taken together only without a swing in between; swings found anew are older. */
  #swung({ window }) {
    if (window.start_s > this.#calibratedAt) this.repeats = 0;
  }

  #session({ type, session, streams }) {
    const another = session?.id !== this.session?.id;
    if (another) [this.calibration, this.repeats, this.#calibratedAt] = [null, 0, -Infinity];
    if (session?.calibrated && this.calibration === null) this.applyCalibration({ calibrated: true, text: "" });
    if (type === "hello") this.streams = streams ?? [];
    else if (another) this.streams = [];
    this.session = session;
  }
}
