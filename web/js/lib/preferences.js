/** Small choices kept by this browser. Where storage is refused, the choice lasts for the page. */

const PREFIX = "torsolog.";

export function remembered(name, fallback) {
  try {
    return localStorage.getItem(PREFIX + name) ?? fallback;
  } catch {
    return fallback;
  }
}

export function remember(name, value) {
  try {
    localStorage.setItem(PREFIX + name, value);
  } catch {
    // private windows may refuse; nothing else depends on it
  }
}
