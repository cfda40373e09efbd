/** A session's troubles in words, in local time. */

const SHOWN = 20;

const timeText = (moment) => new Date(moment).toLocaleTimeString("en-GB");

/** @returns one line each, the first 20, then how many more there are. */
export function troubleLines(troubles) {
  const lines = troubles.slice(0, SHOWN).map(({ text, at }) => `${text} at ${timeText(at)}`);
  const more = troubles.length - lines.length;
  return more > 0 ? [...lines, `and ${more} more`] : lines;
}
