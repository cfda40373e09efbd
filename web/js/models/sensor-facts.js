/** What is known of one sensor while it streams, in words. */

const NAMES = { pelvis: "Pelvis", upper_back: "Upper back" };
const PHASES = {
  seen: "Found",
  connecting: "Connecting\u2026",
  streaming: "Streaming",
  slow: "Slow",
  silent: "Silent",
  lost: "Connection lost",
};
const TROUBLES = {
  silent: "is silent: check that it is on.",
  slow: "sends too slowly: bring it near, or charge it.",
  lost: "lost its connection: bring it near. It reconnects by itself.",
};
const LOSING = "loses samples: bring it near, keep the body out of the way.";
const LOW_BATTERY = 20; // percent; own choice
const GOOD_CLOCK_MS = 2;
const FAIR_CLOCK_MS = 10; // the analysis flags swings above

export const SEGMENTS = Object.keys(NAMES);

export function segmentName(segment) {
  return NAMES[segment] ?? "Not assigned";
}

/** `phase` of a sensor or state of a stream; a sensor that is known but was not heard is remembered. */
export function phaseText(phase, rssi) {
  if (phase === "seen" && typeof rssi !== "number") return "Remembered";
  return PHASES[phase] ?? phase;
}

/** Whether a phase is one that the practitioner has to do something about. */
export function isTrouble(phase) {
  return phase in TROUBLES;
}

/** Whether nothing at all comes from a sensor in this phase. */
export function sendsNothing(phase) {
  return phase === "silent" || phase === "lost";
}

/** What is wrong with a sensor and what to do, in words; null: nothing. `losing`: it loses samples now. */
export function troubleText(segment, phase, losing) {
  const how = TROUBLES[phase] ?? (losing ? LOSING : null);
  return how && `${segmentName(segment)} sensor ${how}`;
}

/** How well a sensor's clock is known; `standardMs` is the standard uncertainty, the text shows it
 * expanded by two as everywhere on the pages. */
export function clockText(standardMs) {
  if (typeof standardMs !== "number") return "Timing not known yet";
  const expanded = 2 * standardMs;
  const figure = expanded < 10 ? Math.max(0.1, expanded).toFixed(1) : String(Math.round(expanded));
  return `Timing ${clockWord(expanded)}, \u00b1\u00a0${figure}\u00a0ms`;
}

/** Rate, lost samples, battery and clock, one text each; only what is known. */
export function factTexts({ rate_hz: rate, lost, battery_percent: battery, clock_u_ms: clock }) {
  return [
    typeof rate === "number" ? `${Math.round(rate)}\u00a0Hz` : "Rate not known yet",
    lost === 1 ? "1 sample lost" : `${lost || "No"} samples lost`,
    typeof battery === "number" ? `Battery ${battery}\u00a0%${battery < LOW_BATTERY ? ", low: charge it" : ""}` : "Battery not known",
    clockText(clock),
  ];
}

/** Whether swings made now would be left out because a clock is not known well enough. */
export function clockIsYoung(standardMs) {
  return typeof standardMs !== "number" || 2 * standardMs > FAIR_CLOCK_MS;
}

function clockWord(expandedMs) {
  if (expandedMs <= GOOD_CLOCK_MS) return "good";
  return expandedMs <= FAIR_CLOCK_MS ? "fair" : "not settled yet";
}
