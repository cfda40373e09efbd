/** Addresses of a session and of a swing, and what an address asks for. */

export function swingLink(swing) {
  return `/swings?${new URLSearchParams({ session: swing.session_id, swing: swing.id })}`;
}

export function sessionLink(sessionId) {
  return `/swings?${new URLSearchParams({ session: sessionId })}`;
}

/** `address` with the session to compare with; null for none. */
export function comparedWith(address, beforeId) {
  const [path, search] = address.split("?");
  const wishes = new URLSearchParams(search);
  if (beforeId === null) wishes.delete("before");
  else wishes.set("before", beforeId);
  return `${path}?${wishes}`;
}

/** @returns {session, swing, before} as text, null where the address says nothing. */
export function askedFor(search) {
  const asked = new URLSearchParams(search);
  return { session: asked.get("session"), swing: asked.get("swing"), before: asked.get("before") };
}
