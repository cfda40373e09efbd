/** One session: whose, when, its swings as a table, and the way to its CSV. */

import { csvPath } from "../lib/api.js";
import { set, write } from "../lib/dom.js";
import { countText, dayText, clockText, golferText, remarkText } from "../models/session-words.js";
import { SessionFixing } from "./session-fixing.js";
import { SessionTroubles } from "./session-troubles.js";
import { SwingsTable } from "./swings-table.js";

export class SessionPanel {
  #element; #title; #facts; #csv; #table; #troubles; #fixing;

  /** onOpen receives a swing; onAnew the id of a session that was analysed again. */
  constructor(element, onOpen, onAnew) {
    this.#element = element;
    this.#title = element.querySelector("[data-part=title]");
    this.#facts = element.querySelector("[data-part=facts]");
    this.#csv = element.querySelector("[data-part=csv]");
    this.#troubles = new SessionTroubles(element.querySelector("[data-part=troubles]"));
    this.#fixing = new SessionFixing(element.querySelector("[data-part=fixing]"), ({ id }) => onAnew(id));
    this.#table = new SwingsTable(element.querySelector("table"), onOpen);
  }

  show(session, swings, dictionary) {
    write(this.#title, `${golferText(session)}, ${dayText(session.started_at)}`);
    const facts = [clockText(session.started_at), session.title, countText(swings.length),
      remarkText(session)];
    write(this.#facts, facts.filter(Boolean).join(" \u00b7 "));
    set(this.#csv, { href: csvPath(session.id), hidden: swings.length === 0 });
    this.#element.querySelector(".table-frame").hidden = swings.length === 0;
    this.#table.show(swings, dictionary);
    this.#element.hidden = false;
  }

  /** What is known of the session beside its swings. */
  showAbout(session, troubles) {
    this.#troubles.show(troubles);
    this.#fixing.show(session);
  }

  markOpen(swingId) {
    this.#table.markOpen(swingId);
  }

  hide() {
    this.#element.hidden = true;
  }
}
