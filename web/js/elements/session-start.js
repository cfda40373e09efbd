/** Who wears the sensors, the session's title, start and stop. */

import { el, write } from "../lib/dom.js";
import { golferText } from "../models/session-words.js";

export class SessionStart {
  #element; #parts;

  /** onStart receives {golfer_id, title}. */
  constructor(element, { onStart, onStop }) {
    this.#element = element;
    this.#parts = Object.fromEntries(
      [...element.querySelectorAll("[data-part]")].map((part) => [part.dataset.part, part]),
    );
    this.#parts.form.addEventListener("submit", (event) => {
      event.preventDefault();
      onStart(this.#wish());
    });
    this.#parts.stop.addEventListener("click", onStop);
  }

  offer(golfers) {
    const { golfer } = this.#parts;
    const chosen = golfer.value;
    const options = golfers.map(({ id, name }) => el("option", { value: id }, name));
    golfer.replaceChildren(el("option", { value: "" }, "Not named"), ...options);
    if (golfers.some(({ id }) => id === chosen)) golfer.value = chosen;
  }

  show({ radio, session, fromElsewhere, bothAssigned }, busy) {
    const { form, running, who, start, stop } = this.#parts;
    this.#element.hidden = fromElsewhere || !radio.enabled;
    form.hidden = radio.streaming;
    running.hidden = !radio.streaming;
    start.disabled = busy || !bothAssigned;
    stop.disabled = busy;
    const named = session === null ? "" : `${session.title}, ${golferText(session)}`;
    write(who, named);
  }

  #wish() {
    const { golfer, title } = this.#parts;
    return { golfer_id: golfer.value || null, title: title.value.trim() || null };
  }
}
