/** A session in words: its day, its golfer, its swings. */

const DAY = new Intl.DateTimeFormat("en-GB", {
  weekday: "short", day: "numeric", month: "short", year: "numeric",
});
const DATE = new Intl.DateTimeFormat("en-GB", { day: "numeric", month: "short", year: "numeric" });
const CLOCK = new Intl.DateTimeFormat("en-GB", { hour: "2-digit", minute: "2-digit" });
const SECOND = new Intl.DateTimeFormat("en-GB", {
  hour: "2-digit", minute: "2-digit", second: "2-digit",
});

export function dayText(iso) {
  return DAY.format(new Date(iso));
}

export function dateText(iso) {
  return DATE.format(new Date(iso));
}

export function clockText(iso) {
  return CLOCK.format(new Date(iso));
}

export function secondText(iso) {
  return SECOND.format(new Date(iso));
}

export function countText(count) {
  return count === 1 ? "1\u00a0swing" : `${count}\u00a0swings`;
}

export function golferText(session) {
  return session.golfer_name ?? "No golfer named";
}

/** What else to know of a session: open, invented, uncalibrated. */
export function remarkText(session) {
  return [
    session.open ? "open now" : "",
    session.calibrated === false ? "not calibrated" : "",
    session.invented ? "invented data" : "",
  ].filter(Boolean).join(", ");
}
