/** Which sensors the page shows, in which order, and what there is to say of them beside figures. */

import { isTrouble, SEGMENTS, segmentName, sendsNothing } from "./sensor-facts.js";
import { sentence } from "./sensors-line.js";
import { secondText } from "./session-words.js";

/** The radio's sensors, or the streams that another collector brings: [{key, sensor}]. The key
 * changes with the place while streaming, since a card draws the line of its place. */
export function cardRows({ radio, sensors, streams, fromElsewhere }) {
  if (fromElsewhere) {
    return streams.map((stream) => ({
      key: stream.stream_id,
      sensor: { ...stream, name: stream.sensor, phase: stream.state },
    }));
  }
  if (!radio.streaming) return sensors.map((sensor) => ({ key: sensor.address, sensor }));
  const worn = SEGMENTS.map((segment) => sensors.find((one) => one.segment === segment));
  return worn.filter(Boolean).map((sensor) => (
    { key: `${sensor.address} ${sensor.segment}`, sensor: merged(sensor, streams) }
  ));
}

/** Why a sensor that streams has no moving trace: both are drawn at the same moments. */
export function traceWaits({ segment, phase }, { radio, sensors, streams }) {
  const all = radio.streaming
    ? sensors.map((one) => merged(one, streams))
    : streams.map((one) => ({ ...one, phase: one.state }));
  const other = all.find((one) => one.segment && one.segment !== segment);
  if (isTrouble(phase) || !other || !sendsNothing(other.phase)) return "";
  return `Waits for the ${segmentName(other.segment).toLowerCase()} sensor`;
}

/** News of the radio, the newest first. */
export function newsLines(news) {
  return [...(news ?? [])].reverse().map(({ at, text }) => `${secondText(at)} ${sentence(text)}`);
}

/** What its stream lacks counts for more than what the radio is about: slow, or lost and sought again. */
function merged(sensor, streams) {
  const state = streams.find(({ segment }) => segment === sensor.segment)?.state;
  return isTrouble(state) && !isTrouble(sensor.phase) ? { ...sensor, phase: state } : sensor;
}
