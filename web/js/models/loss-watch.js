/** Which sensors lose samples now: a share of what they send that a swing does not forgive. */

const LOSS_SHARE = 0.02;
const HOLD_S = 5; // of a stream's own time: long enough to be read

export class LossWatch {
  #before = new Map(); #until = new Map();

  /** Takes the streams as the service tells them. @returns segments that lose samples. */
  update(streams) {
    for (const stream of streams) {
      const before = this.#before.get(stream.stream_id);
      if (losesSamples(before, stream)) this.#until.set(stream.stream_id, stream.last_seen_s + HOLD_S);
    }
    this.#before = new Map(streams.map((stream) => [stream.stream_id, stream]));
    return streams
      .filter(({ stream_id: id, last_seen_s: now }) => now < (this.#until.get(id) ?? -Infinity))
      .map(({ segment }) => segment);
  }
}

/** Share of samples lost between two moments of a stream is above what a swing forgives. */
export function losesSamples(before, now) {
  if (!before || !now || now.lost <= before.lost) return false;
  const lost = now.lost - before.lost;
  const seconds = Math.max(0.5, now.last_seen_s - before.last_seen_s);
  return lost / (seconds * Math.max(now.rate_hz, 1) + lost) > LOSS_SHARE;
}
