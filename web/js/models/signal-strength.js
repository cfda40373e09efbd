/** Strength of a radio signal, in bars and in a word. Limits: common practice, no source. */

const STEPS = [[-60, 4, "strong"], [-70, 3, "good"], [-80, 2, "fair"], [-Infinity, 1, "weak: bring it near"]];

/** `rssi` in dBm, null where it was not heard. @returns {bars: 0 to 4, text}. */
export function signalStrength(rssi) {
  if (typeof rssi !== "number") return { bars: 0, text: "not heard in the last search" };
  const [, bars, text] = STEPS.find(([least]) => rssi >= least);
  return { bars, text };
}
