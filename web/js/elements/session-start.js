/** Who wears the sensors, the session's title, start and stop. */

import { el, write } from "../lib/dom.js";
import { golferText } from "../models/session-words.js";

export class SessionStart {
  #element; #parts; #asks = false;

  /** onStart receives {golfer_id, title}. */
  constructor(element, { onStart, onStop }) {
    this.#element = element;
    this.#parts = Object.fromEntries(
      [...element.querySelectorAll("[data-part]")].map((part) => [part.dataset.part, part]),
    );
    const { form, stop, end, goOn } = this.#parts;
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      onStart(this.wish);
    });
    stop.addEventListener("click", () => this.#ask(true));
    goOn.addEventListener("click", () => this.#ask(false));
    end.addEventListener("click", onStop);
  }

  offer(golfers) {
    const { golfer } = this.#parts;
    const chosen = golfer.value;
    const options = golfers.map(({ id, name }) => el("option", { value: id }, name));
    golfer.replaceChildren(el("option", { value: "" }, "Not named"), ...options);
    if (golfers.some(({ id }) => id === chosen)) golfer.value = chosen;
  }

  show({ radio, session, fromElsewhere }, busy) {
    const { head, form, running, who, start, end } = this.#parts;
    this.#element.hidden = fromElsewhere || !radio.enabled;
    write(head, radio.streaming ? "Session" : "Start");
    form.hidden = radio.streaming;
    running.hidden = !radio.streaming;
    if (!radio.streaming) this.#asks = false;
    this.#showQuestion();
    for (const button of [start, end]) button.setAttribute("aria-disabled", String(busy));
    write(who, session === null ? "" : `${session.title}, ${golferText(session)}`);
  }

  get wish() {
    const { golfer, title } = this.#parts;
    return { golfer_id: golfer.value || null, title: title.value.trim() || null };
  }

  #ask(asks) {
    this.#asks = asks;
    this.#showQuestion();
    this.#parts[asks ? "goOn" : "stop"].focus({ preventScroll: true });
  }

  /** One slip of a thumb does not end a session. */
  #showQuestion() {
    this.#parts.stop.hidden = this.#asks;
    this.#parts.question.hidden = !this.#asks;
  }
}
