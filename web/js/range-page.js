/** Range: wires the live channel to what the golfer sees. */

import { getJson } from "./lib/api.js";
import { LiveChannel, liveAddress } from "./lib/live-channel.js";
import { remember, remembered } from "./lib/preferences.js";
import { ColumnDictionary } from "./models/column-dictionary.js";
import { askedFor } from "./models/deep-link.js";
import { LiveState } from "./models/live-state.js";
import { NumberSlots } from "./models/number-slots.js";
import { announcement } from "./models/reading.js";
import { stateLine } from "./models/sensor-state.js";
import { Announcer } from "./elements/announcer.js";
import { AwakeScreen } from "./elements/awake-screen.js";
import { LargeNumber } from "./elements/large-number.js";
import { LastSwings } from "./elements/last-swings.js";
import { NumberTiles } from "./elements/number-tiles.js";
import { SessionHeading } from "./elements/session-heading.js";
import { StateLine } from "./elements/state-line.js";
import { VelocityTrace } from "./elements/velocity-trace.js";

const CHOICE = "range.number";

export class RangePage {
  #state = new LiveState();
  #slots = new NumberSlots(remembered(CHOICE, ""));
  #dictionary = new ColumnDictionary();
  #awake = new AwakeScreen();
  #channel; #hurry = () => this.#channel.hurry();
  #stateLine; #raw; #announcer; #large; #tiles; #trace; #table; #heading;

  constructor(document) {
    const part = (id) => document.getElementById(id);
    this.#stateLine = new StateLine(part("state"));
    this.#raw = part("raw");
    this.#announcer = new Announcer(part("announcer"));
    this.#large = new LargeNumber(part("large"));
    this.#tiles = new NumberTiles(part("tiles"), (place) => this.#choose(place));
    this.#trace = new VelocityTrace(part("trace"));
    this.#table = new LastSwings(part("last-swings"));
    this.#heading = new SessionHeading(part("who"), part("count"));
    const address = liveAddress(location, askedFor(location.search).session);
    this.#channel = new LiveChannel({
      open: () => new WebSocket(address),
      onMessage: (message) => this.#received(message),
      onState: (channel) => this.#channelChanged(channel),
    });
  }

  connect() {
    this.#trace.connect();
    this.#awake.connect();
    this.#channel.connect();
    addEventListener("online", this.#hurry);
    this.#loadDictionary();
  }

  disconnect() {
    removeEventListener("online", this.#hurry);
    this.#channel.disconnect();
    this.#awake.disconnect();
    this.#trace.disconnect();
  }

  async #loadDictionary() {
    try {
      this.#dictionary = new ColumnDictionary(await getJson("/api/columns"));
      this.#showNumbers();
    } catch {
      // the channel says that the service is away; the next hello asks again
    }
  }

  #channelChanged(channel) {
    this.#state.channel = channel;
    this.#showState();
  }

  #received(message) {
    const { session, swings: { last } } = this.#state;
    const changed = this.#state.apply(message);
    if (this.#state.session?.id !== session?.id) this.#trace.clear();
    if (changed === "trace") this.#trace.push(message);
    else if (changed === "status") this.#showState();
    else if (changed !== null) this.#sessionChanged(message, last);
  }

  #sessionChanged(message, last) {
    if (message.type === "hello") this.#greeted();
    this.#showState();
    this.#showNumbers();
    const newest = this.#state.swings.last;
    const isNew = newest !== null && newest.id !== last?.id;
    if (isNew && (message.type === "swing" || last !== null)) this.#arrived();
  }

  #arrived() {
    this.#large.arrive();
    this.#announcer.say(announcement(this.#slots.large, this.#state.swings, this.#dictionary));
  }

  #greeted() {
    if (this.#dictionary.names.length === 0) this.#loadDictionary();
    const { session, swings, swingCount } = this.#state;
    if (session !== null && swingCount > swings.count) this.#backfill(session.id);
  }

  /** The channel greets with the last swings only; averages want them all. */
  async #backfill(sessionId) {
    try {
      const swings = await getJson(`/api/sessions/${encodeURIComponent(sessionId)}/swings`);
      this.#state.backfill(sessionId, swings);
      this.#showNumbers();
    } catch {
      // averages then speak of the swings at hand
    }
  }

  #choose(place) {
    this.#slots.choose(place);
    remember(CHOICE, this.#slots.large.column);
    this.#showNumbers();
  }

  #showState() {
    this.#stateLine.show(stateLine(this.#state));
    this.#raw.hidden = !this.#state.tracesAreRaw;
  }

  /** Numbers wait for the dictionary, for it knows their names and units. */
  #showNumbers() {
    if (this.#dictionary.names.length === 0) return;
    const { session, swings, swingCount } = this.#state;
    this.#heading.show(session, swingCount);
    this.#large.show(this.#slots.large, swings, this.#dictionary);
    this.#tiles.show(this.#slots.tiles, swings, this.#dictionary);
    this.#table.show(swings, this.#dictionary);
  }
}
