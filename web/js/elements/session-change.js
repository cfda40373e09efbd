/** How a session went, and what changed since an earlier one: asks the service and shows both. */

import { comparisonPath, getJson, summaryPath } from "../lib/api.js";
import { earlierSessions } from "../models/earlier-sessions.js";
import { MessageBox } from "./message-box.js";
import { SessionComparison } from "./session-comparison.js";
import { SessionInSum } from "./session-in-sum.js";

export class SessionChange {
  #element; #message; #sum; #comparison; #onChoose; #asked = null; #session = null; #dictionary = null;
  #beforeId = null;

  /** onChoose receives the id of the session chosen to compare with, or null. */
  constructor(element, onChoose) {
    this.#element = element;
    this.#message = new MessageBox(element.querySelector("[data-part=message]"));
    this.#sum = new SessionInSum(element.querySelector("[data-part=sum]"));
    this.#comparison = new SessionComparison(element.querySelector("[data-part=comparison]"),
      (id) => this.#choose(id));
    this.#onChoose = onChoose;
  }

  /** The session shown (asks again where it is shown already: a swing came), all sessions known, and the one to compare with or null. */
  show(session, sessions, dictionary, beforeId) {
    if (this.#session?.id !== session.id) this.#start(session, sessions, beforeId);
    this.#dictionary = dictionary;
    this.#refresh();
  }

  #start(session, sessions, beforeId) {
    const earlier = earlierSessions(session, sessions);
    this.#session = session;
    this.#beforeId = earlier.some(({ id }) => id === beforeId) ? beforeId : null;
    this.#comparison.offer(earlier, this.#beforeId);
    this.#comparison.clear();
    this.#sum.hide();
    this.#element.hidden = false;
  }

  hide() {
    this.#asked?.abort();
    this.#session = null;
    this.#element.hidden = true;
  }

  async #refresh() {
    this.#asked?.abort();
    this.#asked = new AbortController();
    const { signal } = this.#asked;
    try {
      this.#sum.show(await getJson(summaryPath(this.#session.id), { signal }), this.#dictionary);
      if (this.#beforeId === null) this.#comparison.clear();
      else await this.#compare(signal);
      this.#message.clear();
    } catch (error) {
      if (error.name !== "AbortError") this.#message.fail(error, () => this.#refresh());
    }
  }

  async #compare(signal) {
    const path = comparisonPath(this.#beforeId, this.#session.id);
    this.#comparison.show(await getJson(path, { signal }), this.#dictionary);
  }

  #choose(id) {
    this.#beforeId = id;
    this.#onChoose(id);
    this.#refresh();
  }
}
