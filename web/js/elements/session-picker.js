/** The sessions to choose from, newest first. Stands open beside the swings where there is room. */

import { el, set, write } from "../lib/dom.js";
import { sessionLink } from "../models/deep-link.js";
import { clockText, countText, dayText, golferText, remarkText } from "../models/session-words.js";

const ROOM = "(min-width: 75rem)";

export class SessionPicker {
  #details; #summary; #list; #onChoose; #room = matchMedia(ROOM);
  #fit = () => { this.#details.open = this.#room.matches; };

  /** `details` holds a summary and a ul; onChoose receives the session. */
  constructor(details, onChoose) {
    this.#details = details;
    this.#summary = details.querySelector("summary");
    this.#list = details.querySelector("ul");
    this.#onChoose = onChoose;
  }

  connect() {
    this.#room.addEventListener("change", this.#fit);
    this.#fit();
  }

  disconnect() {
    this.#room.removeEventListener("change", this.#fit);
  }

  show(sessions, chosenId) {
    write(this.#summary, sessions.length === 1 ? "1 session" : `${sessions.length} sessions`);
    this.#list.replaceChildren(...sessions.map((session) => this.#item(session, chosenId)));
  }

  #item(session, chosenId) {
    const chosen = String(session.id) === String(chosenId);
    const link = el("a", { href: sessionLink(session.id), "aria-current": chosen ? "true" : null },
      el("b", {}, `${dayText(session.started_at)}, ${clockText(session.started_at)}`),
      el("span", {}, golferText(session)),
      el("span", { class: "soft" }, [session.title, countText(session.swing_count), remarkText(session)]
        .filter(Boolean).join(" \u00b7 ")));
    link.addEventListener("click", (event) => {
      if (event.ctrlKey || event.metaKey || event.shiftKey) return;
      event.preventDefault();
      if (!this.#room.matches) set(this.#details, { open: null });
      this.#onChoose(session);
    });
    return el("li", {}, link);
  }
}
