/** Addresses of a session and of a swing, and what an address asks for. */

export function swingLink(swing) {
  return `/swings?${new URLSearchParams({ session: swing.session_id, swing: swing.id })}`;
}

export function sessionLink(sessionId) {
  return `/swings?${new URLSearchParams({ session: sessionId })}`;
}

/** @returns {session, swing} as text, null where the address says nothing. */
export function askedFor(search) {
  const asked = new URLSearchParams(search);
  return { session: asked.get("session"), swing: asked.get("swing") };
}
