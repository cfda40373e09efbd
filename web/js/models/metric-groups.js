/** Every column of a swing in one of a few groups, so that none is hidden. */

const ELSEWHERE = new Set(["swing", "quality"]);

/** First match wins; what matches none goes to the last group. */
const GROUPS = [
  { title: "Separation", match: /separation_(?!max_s)/ },
  { title: "Turn", match: /_turn_top_deg$/ },
  { title: "Transition", match: /^transition_|_reversal_s$|^top_s$|^separation_max_s$/ },
  { title: "Runway and rate", match: /runway|mean_rate/ },
  { title: "Power", match: /_power_/ },
  { title: "Speed", match: /_peak_dps$|^peak_|speed_gain|_peak_s$/ },
  { title: "Tempo", match: /^(backswing|downswing|impact|takeaway|address)_|^tempo$/ },
  { title: "Posture at the top", match: /obliquity|tilt/ },
  { title: "Further numbers", match: /./ },
];
const SHOWN_ORDER = ["Turn", "Separation", "Transition", "Speed", "Tempo", "Runway and rate",
  "Power", "Posture at the top", "Further numbers"];

/** @returns [{title, names}] in reading order, without empty groups. */
export function metricGroups(names) {
  const byTitle = new Map(SHOWN_ORDER.map((title) => [title, []]));
  for (const name of names) {
    if (!ELSEWHERE.has(name)) byTitle.get(GROUPS.find(({ match }) => match.test(name)).title).push(name);
  }
  return [...byTitle].map(([title, members]) => ({ title, names: members }))
    .filter((group) => group.names.length > 0);
}
