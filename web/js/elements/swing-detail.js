/** One swing in detail: charts, overhead view, events and numbers on one playhead. */

import { getJson } from "../lib/api.js";
import { set, write } from "../lib/dom.js";
import { secondText } from "../models/session-words.js";
import { Playhead } from "../models/playhead.js";
import { SwingCurves } from "../models/swing-curves.js";
import { eventsOf, topOf } from "../models/swing-events.js";
import { EventsTable } from "./events-table.js";
import { MessageBox } from "./message-box.js";
import { NumbersPanel } from "./numbers-panel.js";
import { OverheadView } from "./overhead-view.js";
import { Scrubber } from "./scrubber.js";
import { SwingCharts } from "./swing-charts.js";

const RIGHT = "right";
const NARROW = "(max-width: 40rem)"; // there the downswing alone fills the chart

export class SwingDetail {
  #element; #message; #motion; #playhead = new Playhead(); #handedness = RIGHT; #asked = null;
  #charts; #overhead; #scrubber; #events; #numbers; #part;
  swing = null;

  /** onStep receives -1 or 1: the swing before or after is wanted. */
  constructor(element, onStep) {
    this.#element = element;
    this.#part = (name) => element.querySelector(`[data-part=${name}]`);
    this.#motion = this.#part("motion");
    this.#message = new MessageBox(this.#part("message"));
    this.#charts = new SwingCharts(this.#part("charts"), this.#playhead);
    this.#overhead = new OverheadView(this.#part("overhead"), this.#playhead);
    this.#scrubber = new Scrubber(this.#part("scrubber"), this.#playhead);
    this.#events = new EventsTable(this.#part("events"), this.#playhead);
    this.#numbers = new NumbersPanel(this.#part("numbers"));
    this.#part("before").addEventListener("click", () => onStep(-1));
    this.#part("after").addEventListener("click", () => onStep(1));
    this.#part("close").addEventListener("click", () => this.#zoom(!this.#isClose));
  }

  connect() {
    for (const part of [this.#charts, this.#overhead, this.#scrubber]) part.connect();
    this.#zoom(matchMedia(NARROW).matches);
  }

  disconnect() {
    this.#asked?.abort();
    for (const part of [this.#charts, this.#overhead, this.#scrubber]) part.disconnect();
  }

  hide() {
    this.swing = null;
    this.#asked?.abort();
    this.#element.hidden = true;
  }

  /** Whose swings they are: the target lies on the lead side. Not known: right-handed. */
  forGolfer(golfer) {
    this.#handedness = golfer?.handedness ?? RIGHT;
    const words = this.#handedness === RIGHT ? "Right-handed: target to the left" : "Left-handed: target to the right";
    write(this.#part("hand"), golfer === null ? `${words} (golfer not known)` : words);
  }

  async show(swing, dictionary, neighbours, bringIntoView) {
    this.swing = swing;
    this.#element.hidden = false;
    write(this.#part("title"), `Swing ${swing.number}`);
    write(this.#part("at"), secondText(swing.at));
    write(this.#part("flags"), swing.flags.map((flag) => flag.text).join(" "));
    this.#part("flags").hidden = swing.flags.length === 0;
    this.#part("before").disabled = !neighbours.before;
    this.#part("after").disabled = !neighbours.after;
    this.#numbers.show(swing, dictionary);
    await this.#loadMotion(swing);
    if (bringIntoView) this.#element.scrollIntoView({ block: "start" });
  }

  async #loadMotion(swing) {
    this.#asked?.abort();
    this.#asked = new AbortController();
    const { signal } = this.#asked;
    try {
      const answer = await getJson(`/api/swings/${encodeURIComponent(swing.id)}/curves`, { signal });
      this.#motion.hidden = false;
      await this.#showMotion(new SwingCurves(answer, topOf(swing)), eventsOf(swing));
      this.#message.clear();
    } catch (error) {
      if (error.name === "AbortError") return;
      this.#motion.hidden = true;
      this.#message.fail(error, () => this.#loadMotion(swing));
    }
  }

  async #showMotion(curves, events) {
    const [start, end] = curves.range(events, false);
    this.#playhead.reset(start, end, 0);
    this.#overhead.show(curves, this.#handedness);
    this.#scrubber.show(curves);
    this.#events.show(curves, events);
    await this.#charts.show(curves, events);
  }

  get #isClose() {
    return this.#part("close").getAttribute("aria-pressed") === "true";
  }

  #zoom(close) {
    set(this.#part("close"), { "aria-pressed": String(close) });
    this.#charts.zoom(close);
  }
}
