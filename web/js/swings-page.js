/** Swings: choose a session, see its swings, open one in detail. */

import { getJson } from "./lib/api.js";
import { LiveChannel, liveAddress } from "./lib/live-channel.js";
import { ColumnDictionary } from "./models/column-dictionary.js";
import { askedFor, comparedWith, sessionLink, swingLink } from "./models/deep-link.js";
import { SessionSwings } from "./models/session-swings.js";
import { MessageBox } from "./elements/message-box.js";
import { SessionChange } from "./elements/session-change.js";
import { SessionPanel } from "./elements/session-panel.js";
import { SessionPicker } from "./elements/session-picker.js";
import { SwingDetail } from "./elements/swing-detail.js";

const EMPTY = "No sessions yet. A session appears here as soon as sensors have streamed, "
  + "or a recording was imported.";
const NO_SWINGS = "No swing was found in this session yet.";

export class SwingsPage {
  #message; #picker; #panel; #change; #detail; #channel = null; #loading = null;
  #sessions = []; #session = null; #swings = new SessionSwings(); #dictionary = new ColumnDictionary();
  #onPopState = () => this.#route();

  constructor(document) {
    const part = (id) => document.getElementById(id);
    this.#message = new MessageBox(part("message"));
    this.#picker = new SessionPicker(part("sessions"), (session) => this.#go(sessionLink(session.id)));
    this.#panel = new SessionPanel(part("session"), (swing) => this.#openSwing(swing), (id) => this.#anew(id));
    this.#change = new SessionChange(part("change"), (id) => this.#compareWith(id));
    this.#detail = new SwingDetail(part("detail"), (step) => this.#beside(step));
  }

  connect() {
    this.#picker.connect();
    this.#detail.connect();
    addEventListener("popstate", this.#onPopState);
    this.#start();
  }

  disconnect() {
    removeEventListener("popstate", this.#onPopState);
    this.#loading?.abort();
    this.#unfollow();
    this.#session = null; // so that a page brought back from the browser's memory loads anew
    this.#detail.disconnect();
    this.#picker.disconnect();
  }

  async #start() {
    this.#message.say("Loading sessions\u2026");
    try {
      const [columns, sessions] = await Promise.all([getJson("/api/columns"), getJson("/api/sessions")]);
      this.#dictionary = new ColumnDictionary(columns);
      this.#sessions = sessions;
      this.#message.clear();
      await this.#route();
    } catch (error) {
      this.#message.fail(error, () => this.#start());
    }
  }

  #openSwing(swing) {
    this.#go(comparedWith(swingLink(swing), askedFor(location.search).before));
  }

  #compareWith(sessionId) {
    const address = comparedWith(sessionLink(this.#session.id), sessionId);
    const { swing } = askedFor(location.search);
    history.replaceState(null, "", swing === null ? address : `${address}&${new URLSearchParams({ swing })}`);
  }

  #go(address) {
    history.pushState(null, "", address);
    this.#route();
  }

  /** Shows what the address asks for; without a wish, the newest swings there are. */
  async #route() {
    const asked = askedFor(location.search);
    const wanted = asked.session ?? await this.#sessionOf(asked.swing) ?? this.#newest()?.id ?? null;
    if (wanted === null) this.#message.say(EMPTY);
    else if (await this.#showSession(wanted)) this.#showSwing(asked.swing);
  }

  /** The newest session that has something to show, else the newest. */
  #newest() {
    return this.#sessions.find((session) => session.swing_count > 0) ?? this.#sessions[0];
  }

  async #sessionOf(swingId) {
    if (swingId === null) return null;
    const swing = await getJson(`/api/swings/${encodeURIComponent(swingId)}`).catch(() => null);
    return swing?.session_id ?? null;
  }

  /** @returns whether the session stands on the page. */
  async #showSession(id) {
    if (String(this.#session?.id) === String(id)) return true;
    this.#loading?.abort();
    this.#loading = new AbortController();
    const { signal } = this.#loading;
    this.#message.say("Loading swings\u2026");
    try {
      const path = `/api/sessions/${encodeURIComponent(id)}`;
      const [session, swings, troubles] = await Promise.all(
        ["", "/swings", "/troubles"].map((part) => getJson(path + part, { signal })));
      this.#panel.showAbout(session, troubles);
      await this.#enter(session, swings, signal);
      return true;
    } catch (error) {
      if (error.name !== "AbortError") this.#refused(id, error);
      return false;
    }
  }

  async #enter(session, swings, signal) {
    this.#unfollow();
    this.#session = session;
    this.#swings = new SessionSwings(swings);
    this.#detail.hide();
    this.#message.clear();
    this.#showTable();
    this.#picker.show(this.#sessions, session.id);
    this.#change.hide();
    if (swings.length > 0) this.#showChange();
    const golfer = session.golfer_id === null ? null
      : await getJson(`/api/golfers/${encodeURIComponent(session.golfer_id)}`, { signal });
    this.#detail.forGolfer(golfer);
    if (session.open) this.#follow(session.id);
  }

  async #anew(id) {
    this.#session = null;
    if (await this.#showSession(id)) this.#showSwing(askedFor(location.search).swing);
  }

  #refused(id, error) {
    this.#session = null;
    for (const part of [this.#panel, this.#change, this.#detail]) part.hide();
    this.#picker.show(this.#sessions, null);
    this.#message.fail(error, () => this.#showSession(id).then((shown) => shown && this.#route()));
  }

  #showChange() {
    const { before } = askedFor(location.search);
    this.#change.show(this.#session, this.#sessions, this.#dictionary, before);
  }

  #showTable() {
    this.#panel.show(this.#session, this.#swings.all, this.#dictionary);
    if (this.#swings.count === 0) this.#message.say(NO_SWINGS);
    else this.#message.clear();
  }

  /** The swing asked for; without a wish, the last usable one. */
  #showSwing(swingId) {
    const { all } = this.#swings;
    const swing = all.find((one) => String(one.id) === String(swingId));
    if (swingId !== null && !swing) this.#message.say("That swing is not in this session.");
    const shown = swing ?? (swingId === null ? all.findLast((one) => one.usable) ?? all.at(-1) : null);
    if (!shown) return;
    this.#panel.markOpen(shown.id);
    this.#detail.show(shown, this.#dictionary, this.#neighbours(shown), swingId !== null);
  }

  #neighbours(swing) {
    const place = this.#swings.all.findIndex((one) => one.id === swing.id);
    return { before: place > 0, after: place < this.#swings.count - 1 };
  }

  #beside(step) {
    const place = this.#swings.all.findIndex((one) => one.id === this.#detail.swing?.id);
    const swing = this.#swings.all[place + step];
    if (swing) this.#openSwing(swing);
  }

  /** An open session grows: its new swings join the table. */
  #follow(sessionId) {
    const address = liveAddress(location, sessionId);
    this.#channel = new LiveChannel({
      open: () => new WebSocket(address),
      onMessage: (message) => this.#grow(message),
      onState: () => {},
    });
    this.#channel.connect();
  }

  #unfollow() {
    this.#channel?.disconnect();
    this.#channel = null;
  }

  #grow(message) {
    const arrived = { hello: () => message.swings, swing: () => [message.swing] }[message.type]?.() ?? [];
    const fresh = arrived.filter((swing) => this.#swings.add(swing)).length > 0;
    if (!fresh) return;
    this.#showTable();
    this.#showChange();
    if (this.#detail.swing === null) this.#showSwing(askedFor(location.search).swing);
  }
}
