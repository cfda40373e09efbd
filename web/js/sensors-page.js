/** Sensors: wires the radio's channel and the live channel to what the practitioner works with. */

import { getJson } from "./lib/api.js";
import { LiveChannel, liveAddress, sensorsAddress } from "./lib/live-channel.js";
import { assign, calibration, hold, scan, start, stop, swap } from "./lib/sensor-orders.js";
import { LossWatch } from "./models/loss-watch.js";
import { SEGMENTS } from "./models/sensor-facts.js";
import { sensorsLine } from "./models/sensors-line.js";
import { SensorsState } from "./models/sensors-state.js";
import { AwakeScreen } from "./elements/awake-screen.js";
import { CalibrationWalk } from "./elements/calibration-walk.js";
import { ScaleCheck } from "./elements/scale-check.js";
import { SensorFinder } from "./elements/sensor-finder.js";
import { SessionStart } from "./elements/session-start.js";
import { StateLine } from "./elements/state-line.js";
import { SyncCheck } from "./elements/sync-check.js";

const OFFERED = ["sync-check", "scale-check", "calibration"];

export class SensorsPage {
  #state = new SensorsState();
  #awake = new AwakeScreen();
  #losses = new LossWatch();
  #lost = new Set(); #losing = []; #busy = false; #offers = new Set(); #asked = null;
  #line; #refusal; #finder; #start; #walk; #sync; #scale; #live; #radio;

  constructor(document) {
    const part = (id) => document.getElementById(id);
    this.#line = new StateLine(part("state"));
    this.#refusal = part("refusal");
    this.#finder = new SensorFinder(part("find"), {
      onScan: () => this.#order(scan),
      onAssign: (address, segment) => this.#order(() => assign(address, segment)),
      onHold: (address, segment, fixing) => this.#order(() => hold(address, segment, fixing)),
      onSwap: () => this.#order(() => this.#swap()),
    });
    this.#start = new SessionStart(part("start"), {
      onStart: (wish) => this.#order(() => start(wish)),
      onStop: () => this.#order(stop),
    });
    this.#walk = new CalibrationWalk(part("calibrate"));
    this.#sync = new SyncCheck(part("sync"));
    this.#scale = new ScaleCheck(part("scale"));
    this.#live = this.#channel("live", liveAddress(location), (message) => this.#heardLive(message));
    this.#radio = this.#channel("radio", sensorsAddress(location), (message) => this.#heardRadio(message));
  }

  connect() {
    this.#awake.connect();
    this.#live.connect();
    this.#radio.connect();
    this.#load();
  }

  disconnect() {
    this.#radio.disconnect();
    this.#live.disconnect();
    this.#finder.disconnect();
    this.#awake.disconnect();
  }

  /** Whatever a channel says shows that it is there; the page is as well off as the worse one. */
  #channel(name, address, heard) {
    return new LiveChannel({
      open: () => new WebSocket(address),
      onMessage: (message) => {
        if (this.#lost.delete(name)) this.#channelChanged();
        heard(message);
      },
      onState: ({ kind }) => {
        if (kind === "lost") this.#lost.add(name);
        this.#channelChanged();
      },
    });
  }

  async #load() {
    try {
      this.#start.offer(await getJson("/api/golfers"));
      const { paths } = await getJson("/api/openapi.json");
      this.#offers = new Set(OFFERED.filter((one) => `/api/sessions/{session_id}/${one}` in paths));
      this.#show();
    } catch {
      // the line says that the service is away; the page then works without names
    }
  }

  #channelChanged() {
    this.#state.channel = { kind: this.#lost.size > 0 ? "lost" : "open" };
    this.#show();
  }

  #heardRadio(message) {
    if (message.type === "motion") {
      this.#finder.move(message);
      return;
    }
    this.#state.applySensors(message);
    this.#show();
  }

  #heardLive(message) {
    if (message.type === "trace") this.#heardTrace(message);
    if (!this.#state.applyLive(message)) return;
    if (message.type === "status") this.#losing = this.#losses.update(this.#state.streams);
    this.#show();
    if (message.type === "calibration") this.#walk.judge(message);
    else this.#askCalibration();
  }

  /** Traces of both; streams from elsewhere move the bars by them, too. */
  #heardTrace(trace) {
    this.#finder.draw(trace);
    if (this.#state.radio.streaming) return;
    const [pelvis_dps, upper_back_dps] = SEGMENTS.map((one) => trace[`${one}_velocity_dps`].at(-1) ?? 0);
    this.#finder.move({ pelvis_dps, upper_back_dps });
  }

  /** What was said of a calibration before this page was opened: once a session. */
  async #askCalibration() {
    const { session } = this.#state;
    if (!session?.calibrated || !this.#offers.has("calibration") || this.#asked === session.id) return;
    this.#asked = session.id;
    const known = await calibration(session.id).catch(() => null);
    if (known === null || this.#state.session?.id !== session.id || this.#state.calibration?.text) return;
    this.#state.applyCalibration(known);
    this.#walk.judge(known);
    this.#show();
  }

  /** One order at a time; a refusal is said and stays until the next order. */
  async #order(send) {
    if (this.#busy) return;
    this.#busy = true;
    this.#refusal.hidden = true;
    this.#show();
    try {
      const answer = await send();
      if (answer?.radio) this.#state.applySensors(answer);
    } catch (error) {
      this.#refusal.textContent = error.message;
      this.#refusal.hidden = false;
      this.#refusal.scrollIntoView({ block: "nearest" });
    }
    this.#busy = false;
    this.#show();
  }

  #swap() {
    const { session } = this.#state;
    const wish = { golfer_id: session?.golfer_id ?? null, title: session?.title ?? null };
    return swap(wish);
  }

  #show() {
    this.#line.show(sensorsLine(this.#state, this.#losing));
    this.#finder.show(this.#state, this.#busy);
    this.#start.show(this.#state, this.#busy);
    this.#walk.show(this.#state);
    this.#sync.show(this.#state, this.#offers.has("sync-check"));
    this.#scale.show(this.#state, this.#offers.has("scale-check"));
  }
}
