/** What can hold a sensor to the body, in words. */

export const FIXINGS = [
  { value: "", text: "not said" },
  { value: "strapped", text: "a strap or belt" },
  { value: "rigid", text: "a rigid plate" },
];

/** `fixing` as the service says it; null: nobody said. */
export function fixingText(fixing) {
  return FIXINGS.find(({ value }) => value === (fixing ?? "")).text;
}
