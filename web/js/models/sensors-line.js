/** The line at the head of the Sensors page: what is wrong and the one thing to do, or what is next. */

import { clockIsYoung, isTrouble, SEGMENTS, segmentName, troubleText } from "./sensor-facts.js";

const SWAPPED = "The sensors seem to be worn the wrong way round: ";
const CURE = { here: "swap them with the button below.", elsewhere: "stop, swap them, start again." };

/** `losing`: segments that lose samples now. @returns {level, text} as for the state line of Range. */
export function sensorsLine(state, losing = []) {
  if (state.channel.kind === "lost") {
    return loud("Connection to the service lost. Check that it runs and that this device is on its network.");
  }
  if (!state.heard) return { level: "calm", text: "Connecting to the service\u2026" };
  if (state.radio.obstacle) return loud(sentence(state.radio.obstacle));
  if (state.trouble) return loud(sentence(state.trouble));
  if (state.radio.streaming || state.fromElsewhere) return running(state, losing);
  return waiting(state);
}

function running(state, losing) {
  const troubles = SEGMENTS.map((segment) => troubleOf(segment, state, losing)).filter(Boolean);
  if (state.swapped || state.streams.some(({ swapped }) => swapped)) {
    troubles.push(SWAPPED + (state.radio.streaming ? CURE.here : CURE.elsewhere));
  }
  if (troubles.length > 0) return loud(troubles.join(" "));
  if (SEGMENTS.some((segment) => !state.worn(segment))) {
    return { level: "calm", text: "Connecting to the sensors\u2026" };
  }
  if (state.late) return { level: "warn", text: state.late };
  if (!state.calibration?.calibrated) {
    return { level: "warn", text: "Both sensors stream. Next: put them on and calibrate." };
  }
  if (!state.played && SEGMENTS.some((segment) => clockIsYoung(state.worn(segment).clock_u_ms))) {
    return { level: "calm", text: "Calibrated. The timing still settles: swings made now do not count yet." };
  }
  return { level: "ready", text: "Both sensors stream and are calibrated. Ready for swings." };
}

function troubleOf(segment, state, losing) {
  const sensor = state.radio.streaming ? state.assigned(segment) : undefined;
  if (sensor?.text) return sentence(sensor.text);
  const phase = isTrouble(sensor?.phase) ? sensor.phase : state.worn(segment)?.state;
  return troubleText(segment, phase, losing.includes(segment));
}

function waiting({ radio, sensors }) {
  if (!radio.enabled) {
    return { level: "warn", text: "Bluetooth is off in this service: start it with torsolog serve --radio." };
  }
  if (radio.scanning) return { level: "calm", text: "Looking for sensors\u2026" };
  if (sensors.length === 0) return { level: "calm", text: "Switch both sensors on, then press Find sensors." };
  const missing = SEGMENTS.filter((segment) => !sensors.some((one) => one.segment === segment));
  if (missing.length > 0) {
    const names = missing.map((one) => segmentName(one).toLowerCase()).join(" and the ");
    return { level: "calm", text: `Say which sensor is worn at the ${names}.` };
  }
  return { level: "ready", text: "Both sensors are assigned. Press Start." };
}

/** The service's words as a sentence of its own, its commands in quotes. */
export function sentence(text) {
  const quoted = text.replaceAll(/`([^`]*)`/g, "\u201c$1\u201d");
  return `${quoted[0].toUpperCase()}${quoted.slice(1)}${/[.!?]$/.test(quoted) ? "" : "."}`;
}

const loud = (text) => ({ level: "loud", text });
