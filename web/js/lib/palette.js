/** Colours by meaning as the style sheet has them now, for what CSS cannot reach. */

const TOKENS = {
  pelvis: "--pelvis",
  upper_back: "--upper-back",
  ink: "--ink",
  inkSoft: "--ink-soft",
  rule: "--rule",
  ruleStrong: "--rule-strong",
  sheet: "--sheet",
  face: "--face",
};

/** @returns {pelvis, upper_back, ink, ...} at `element`. */
export function paletteAt(element) {
  const style = getComputedStyle(element);
  return Object.fromEntries(
    Object.entries(TOKENS).map(([name, token]) => [name, style.getPropertyValue(token).trim()]),
  );
}
