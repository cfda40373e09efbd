/** Sensors: wires the radio's channel and the live channel to what the practitioner works with. */

import { getJson, sendJson } from "./lib/api.js";
import { LiveChannel, liveAddress, sensorsAddress } from "./lib/live-channel.js";
import { SEGMENTS } from "./models/sensor-facts.js";
import { losesSamples, sensorsLine } from "./models/sensors-line.js";
import { SensorsState } from "./models/sensors-state.js";
import { AwakeScreen } from "./elements/awake-screen.js";
import { CalibrationWalk } from "./elements/calibration-walk.js";
import { SensorFinder } from "./elements/sensor-finder.js";
import { SessionStart } from "./elements/session-start.js";
import { StateLine } from "./elements/state-line.js";
import { SyncCheck } from "./elements/sync-check.js";

const SCAN_S = 5;
const SYNC_PATH = "/api/sessions/{session_id}/sync-check";

export class SensorsPage {
  #state = new SensorsState();
  #awake = new AwakeScreen();
  #lost = new Set(); #losing = []; #busy = false; #offersSync = false;
  #line; #refusal; #finder; #start; #walk; #sync; #live; #radio;

  constructor(document) {
    const part = (id) => document.getElementById(id);
    this.#line = new StateLine(part("state"));
    this.#refusal = part("refusal");
    this.#finder = new SensorFinder(part("find"), {
      onScan: () => this.#order(() => sendJson("POST", "/api/sensors/scan", { seconds: SCAN_S })),
      onAssign: (address, segment) => this.#order(() => assign(address, segment)),
      onSwap: () => this.#order(() => this.#swap()),
    });
    this.#start = new SessionStart(part("start"), {
      onStart: (wish) => this.#order(() => start(wish)),
      onStop: () => this.#order(() => sendJson("POST", "/api/sensors/stop")),
    });
    this.#walk = new CalibrationWalk(part("calibrate"));
    this.#sync = new SyncCheck(part("sync"));
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
      this.#offersSync = SYNC_PATH in paths;
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
    const before = SEGMENTS.map((segment) => this.#state.worn(segment));
    if (!this.#state.applyLive(message)) return;
    if (message.type === "status") {
      this.#losing = SEGMENTS.filter((one, i) => losesSamples(before[i], this.#state.worn(one)));
    }
    this.#show();
    if (message.type === "calibration") this.#walk.judge(message);
  }

  /** Streams from elsewhere: their trace moves the bars. */
  #heardTrace({ pelvis_velocity_dps: pelvis, upper_back_velocity_dps: upperBack }) {
    if (this.#state.radio.streaming) return;
    const [pelvis_dps, upper_back_dps] = [pelvis, upperBack].map((all) => Math.abs(all.at(-1) ?? 0));
    this.#finder.move({ pelvis_dps, upper_back_dps });
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

  async #swap() {
    const [pelvis, upperBack] = SEGMENTS.map((segment) => this.#state.assigned(segment));
    const stopped = await sendJson("POST", "/api/sensors/stop");
    if (!pelvis || !upperBack) return stopped;
    await assign(pelvis.address, "upper_back");
    return assign(upperBack.address, "pelvis");
  }

  #show() {
    this.#line.show(sensorsLine(this.#state, this.#losing));
    this.#finder.show(this.#state, this.#busy);
    this.#start.show(this.#state, this.#busy);
    this.#walk.show(this.#state);
    this.#sync.show(this.#state, this.#offersSync);
  }
}

function assign(address, segment) {
  return sendJson("PUT", `/api/sensors/${encodeURIComponent(address)}`, { segment });
}

async function start(wish) {
  await sendJson("POST", "/api/sensors/start", wish);
  return getJson("/api/sensors");
}
