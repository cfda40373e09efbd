/** The numbers that training is aimed at: what more and less of each means in golf words. */

const WORDS = new Map(Object.entries({
  separation_top_deg: ["more separation at the top", "less separation at the top"],
  separation_gain_deg: ["more stretch after the top", "less stretch after the top"],
  transition_lead_ms: ["pelvis starts down earlier", "pelvis starts down later"],
  pelvis_turn_top_deg: ["hips turn back less far", "hips turn back further"],
  upper_back_turn_top_deg: ["shoulders turn back less far", "shoulders turn back further"],
  pelvis_peak_dps: ["hips turn faster", "hips turn slower"],
  upper_back_peak_dps: ["shoulders turn faster", "shoulders turn slower"],
  mean_rate_dps2: ["shoulder speed is built quicker", "shoulder speed is built slower"],
}));
const PLAIN = ["a higher number", "a lower number"];

/** What a change of a column means; "" for none. */
export function changeWords(column, change) {
  if (!change) return "";
  const [more, less] = WORDS.get(column) ?? PLAIN;
  return change > 0 ? more : less;
}
