/** What the Sensors page orders from the service. Each gives the sensors as they are then. */

import { getJson, sendJson } from "./api.js";

const SCAN_S = 5;

export function scan() {
  return sendJson("POST", "/api/sensors/scan", { seconds: SCAN_S });
}

/** `segment` null: worn nowhere. */
export function assign(address, segment) {
  return sendJson("PUT", `/api/sensors/${encodeURIComponent(address)}`, { segment });
}

/** What holds a sensor that is worn somewhere; null: not known. */
export function hold(address, segment, fixing) {
  return sendJson("PUT", `/api/sensors/${encodeURIComponent(address)}`, { segment, fixing });
}

/** `wish`: {golfer_id, title}. */
export async function start(wish) {
  await sendJson("POST", "/api/sensors/start", wish);
  return getJson("/api/sensors");
}

export function stop() {
  return sendJson("POST", "/api/sensors/stop");
}

/** Stops, lets the two sensors change places, and starts anew for the same golfer. */
export async function swap(wish) {
  await stop();
  await sendJson("POST", "/api/sensors/swap");
  return start(wish);
}

export function mark(sessionId, kind, seconds) {
  return sendJson("POST", `${of(sessionId)}/marks/now`, { kind, seconds });
}

export function syncCheck(sessionId, seconds) {
  return sendJson("POST", `${of(sessionId)}/sync-check`, { seconds });
}

/** `turns`: whole turns in the last `seconds`. */
export function scaleCheck(sessionId, segment, turns, seconds) {
  return sendJson("POST", `${of(sessionId)}/scale-check`, { segment, turns, seconds });
}

/** How far the scale check of each worn sensor has come. */
export function scaleStanding(sessionId) {
  return getJson(`${of(sessionId)}/scale-check`);
}

/** The calibration in force; null where there is none. */
export async function calibration(sessionId) {
  try {
    return await getJson(`${of(sessionId)}/calibration`);
  } catch (error) {
    if (error.status === 404 || error.status === 409) return null;
    throw error;
  }
}

function of(sessionId) {
  return `/api/sessions/${encodeURIComponent(sessionId)}`;
}
