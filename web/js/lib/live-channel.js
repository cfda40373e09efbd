/** The live WebSocket: reconnects by itself, and does not take silence for peace.
 *
 * With sensors on the line the service speaks every second. Where it has been quiet for a while
 * the channel dials anew without a word; only if that brings no greeting is the line called lost.
 * Knows no page: socket, timers and chance come in, so that it runs under a test clock.
 */

export const QUIET_LIMIT_MS = 5_000;
export const GREETING_LIMIT_MS = 4_000;
export const FIRST_WAIT_MS = 500;
export const LONGEST_WAIT_MS = 8_000;

/** Waiting time before attempt `failures` + 1: doubles up to the longest, up to a fifth less by
 * chance so that several screens do not come back in step. */
export function waitBefore(failures, chance = Math.random()) {
  const wait = Math.min(FIRST_WAIT_MS * 2 ** (failures - 1), LONGEST_WAIT_MS);
  return Math.round(wait * (1 - 0.2 * chance));
}

export class LiveChannel {
  #open; #timers; #onMessage; #onState;
  #socket = null; #watch = null; #retry = null; #failures = 0; #running = false;

  /** onState receives {kind: "connecting" | "open" | "lost", retryMs}. */
  constructor({ open, onMessage, onState, timers = globalThis }) {
    this.#open = open;
    this.#timers = timers;
    this.#onMessage = onMessage;
    this.#onState = onState;
  }

  connect() {
    if (this.#running) return;
    this.#running = true;
    this.#onState({ kind: "connecting" });
    this.#dial();
  }

  disconnect() {
    this.#running = false;
    this.#drop();
    this.#timers.clearTimeout(this.#retry);
  }

  /** Tries at once, for instance because the network is back. */
  hurry() {
    if (!this.#running || this.#socket !== null) return;
    this.#timers.clearTimeout(this.#retry);
    this.#dial();
  }

  #dial() {
    this.#drop();
    const socket = this.#open();
    this.#socket = socket;
    socket.onmessage = (event) => this.#received(JSON.parse(event.data));
    socket.onclose = () => this.#lost();
    this.#watch = this.#timers.setTimeout(() => this.#lost(), GREETING_LIMIT_MS);
  }

  #received(message) {
    this.#failures = 0;
    this.#timers.clearTimeout(this.#watch);
    this.#watch = this.#timers.setTimeout(() => this.#dial(), QUIET_LIMIT_MS);
    if (message.type === "hello") this.#onState({ kind: "open" });
    this.#onMessage(message);
  }

  #lost() {
    this.#drop();
    this.#failures += 1;
    const retryMs = waitBefore(this.#failures);
    this.#retry = this.#timers.setTimeout(() => this.#dial(), retryMs);
    this.#onState({ kind: "lost", retryMs });
  }

  #drop() {
    this.#timers.clearTimeout(this.#watch);
    const socket = this.#socket;
    this.#socket = null;
    if (socket === null) return;
    socket.onmessage = null;
    socket.onclose = null;
    socket.close();
  }
}

/** The address of the channel of the radio and its sensors. */
export function sensorsAddress(location) {
  return `${origin(location)}/api/sensors/live`;
}

/** The live address of this page's service; of one session, or of whichever is open. */
export function liveAddress(location, sessionId = null) {
  const path = sessionId === null ? "/api/live" : `/api/sessions/${encodeURIComponent(sessionId)}/live`;
  return `${origin(location)}${path}`;
}

function origin({ protocol, host }) {
  return `${protocol === "https:" ? "wss:" : "ws:"}//${host}`;
}
