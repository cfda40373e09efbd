/** The state line of Range: one sentence, and how loud it has to be. */

import { SEGMENTS, segmentName, troubleText } from "./sensor-facts.js";
import { sentence } from "./sensors-line.js";

const SWAPPED = "The sensors seem to be worn the wrong way round: swap them on the Sensors page.";

/** @returns {level: "calm" | "ready" | "warn" | "loud", text, detail} for what the page knows now.
 *
 * `detail` holds figures that change all the time and are not to be read out.
 */
export function stateLine({ channel, session, streams, calibration, trouble, late, losing = [] }) {
  if (channel.kind === "lost") return lost(channel);
  if (channel.kind !== "open") return { level: "calm", text: "Connecting to the service\u2026" };
  if (session === null) return { level: "calm", text: "No session is open. Start one on the Sensors page to see swings here." };
  if (session.ended_at) return { level: "calm", text: "This session has ended. Its swings stay here and under Swings." };
  if (trouble) return { level: "loud", text: sentence(trouble) };
  return sensors({ streams, calibration, late, losing });
}

function lost({ retryMs }) {
  const seconds = Math.max(1, Math.round(retryMs / 1000));
  return {
    level: "loud",
    text: `Connection to the service lost. Trying again in ${seconds} s. Where only this device is off the ` +
      "network, logging goes on.",
  };
}

function sensors({ streams, calibration, late, losing }) {
  const bySegment = new Map(streams.map((stream) => [stream.segment, stream]));
  if (bySegment.size === 0) return { level: "calm", text: "Waiting for the sensors to start streaming." };
  const trouble = SEGMENTS.map((segment) => troubleOf(segment, bySegment, losing)).filter(Boolean);
  if (streams.some((stream) => stream.swapped)) trouble.push(SWAPPED);
  if (trouble.length > 0) return { level: "loud", text: trouble.join(" ") };
  if (late) return { level: "warn", text: late };
  if (calibration && !calibration.calibrated) {
    return { level: "warn", text: calibration.text || "Not calibrated: stand still, then bow." };
  }
  return { level: "ready", text: "Ready for a swing.", detail: figures(bySegment) };
}

/** A sensor that is missing or does not give what it should, in words; null when all is well. */
function troubleOf(segment, bySegment, losing) {
  const stream = bySegment.get(segment);
  if (!stream) return `${segmentName(segment)} sensor missing: switch it on and bring it near.`;
  return troubleText(segment, stream.state, losing.includes(segment));
}

/** Rate, lost samples and battery of each sensor. */
function figures(bySegment) {
  const parts = SEGMENTS.map((segment) => {
    const { rate_hz: rate, lost: missing, battery_percent: battery } = bySegment.get(segment);
    return [
      `${segmentName(segment)} ${Math.round(rate ?? 0)}\u00a0Hz`,
      missing > 0 ? `${missing} samples lost` : "",
      typeof battery === "number" ? `battery ${battery}\u00a0%` : "",
    ].filter(Boolean).join(", ");
  });
  return parts.join(" \u00b7 ");
}
