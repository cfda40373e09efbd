/** Whose session it is, and how many swings it has. */

import { el, write } from "../lib/dom.js";

export class SessionHeading {
  #who; #count;

  constructor(who, count) {
    this.#who = who;
    this.#count = count;
  }

  show(session, swingCount) {
    const name = session?.golfer_name ?? "No golfer named";
    const title = [session?.title, session?.invented ? "invented data" : ""].filter(Boolean).join(", ");
    const lines = session ? [el("b", {}, name), el("br"), title] : [];
    this.#who.replaceChildren(...lines);
    write(this.#count, swingCount === 0 ? "No swing yet" : `Swing ${swingCount}`);
  }
}
