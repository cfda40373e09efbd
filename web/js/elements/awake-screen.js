/** Keeps the screen on while Range is in view, where the browser allows it. */

export class AwakeScreen {
  #lock = null; #onVisible = () => this.#ask();

  connect() {
    document.addEventListener("visibilitychange", this.#onVisible);
    this.#ask();
  }

  disconnect() {
    document.removeEventListener("visibilitychange", this.#onVisible);
    this.#lock?.release();
    this.#lock = null;
  }

  async #ask() {
    if (!("wakeLock" in navigator) || document.visibilityState !== "visible") return;
    try {
      this.#lock = await navigator.wakeLock.request("screen");
    } catch {
      this.#lock = null; // low battery or a setting: the screen may then sleep as usual
    }
  }
}
