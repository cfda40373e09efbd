/** The state line of Range: one sentence, and how loud it has to be. */

const NAMES = { pelvis: "Pelvis", upper_back: "Upper back" };
const SEGMENTS = ["pelvis", "upper_back"];
const LIVE = "streaming";
const SWAPPED = "The sensors seem to be worn the wrong way round: the pelvis sensor turns faster.";

/** @returns {level: "calm" | "ready" | "warn" | "loud", text, detail} for what the page knows now.
 *
 * `detail` holds figures that change all the time and are not to be read out.
 */
export function stateLine({ channel, session, streams, calibration, trouble, late }) {
  if (channel.kind === "lost") return lost(channel);
  if (channel.kind !== "open") return { level: "calm", text: "Connecting to the service\u2026" };
  if (session === null) return { level: "calm", text: "No session is open. Start one to see swings here." };
  if (session.ended_at) return { level: "calm", text: "This session has ended. Its swings stay here and under Swings." };
  if (trouble) return { level: "loud", text: sentence(trouble) };
  return sensors(streams, calibration, late);
}

/** A text of the service as a sentence that stands by itself. */
function sentence(text) {
  return `${text[0].toUpperCase()}${text.slice(1)}.`;
}

function lost({ retryMs }) {
  const seconds = Math.max(1, Math.round(retryMs / 1000));
  return {
    level: "loud",
    text: `Connection to the service lost. Trying again in ${seconds} s. The sensors keep logging.`,
  };
}

function sensors(streams, calibration, late) {
  const bySegment = new Map(streams.map((stream) => [stream.segment, stream]));
  if (bySegment.size === 0) return { level: "calm", text: "Waiting for the sensors to start streaming." };
  const trouble = SEGMENTS.map((segment) => troubleOf(segment, bySegment.get(segment))).filter(Boolean);
  if (streams.some((stream) => stream.swapped)) trouble.push(SWAPPED);
  if (trouble.length > 0) return { level: "loud", text: trouble.join(" ") };
  if (late) return { level: "warn", text: late };
  if (calibration && !calibration.calibrated) {
    return { level: "warn", text: calibration.text || "Not calibrated: stand still, then bow." };
  }
  return { level: "ready", text: "Ready for a swing.", detail: figures(bySegment) };
}

/** A sensor that is missing or not streaming, in words; null when all is well. */
function troubleOf(segment, stream) {
  const name = NAMES[segment];
  if (!stream) return `${name} sensor missing: switch it on and bring it near.`;
  if (stream.state === LIVE) return null;
  return `${name} sensor ${stream.state}: check that it is on and in range.`;
}

/** Rate, lost samples and battery of each sensor. */
function figures(bySegment) {
  const parts = SEGMENTS.map((segment) => {
    const { rate_hz: rate, lost: missing, battery_percent: battery } = bySegment.get(segment);
    return [
      `${NAMES[segment]} ${Math.round(rate ?? 0)}\u00a0Hz`,
      missing > 0 ? `${missing} samples lost` : "",
      typeof battery === "number" ? `battery ${battery}\u00a0%` : "",
    ].filter(Boolean).join(", ");
  });
  return parts.join(" \u00b7 ");
}
