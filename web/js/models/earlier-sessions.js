/** Which sessions a session can be compared with. */

/** Earlier sessions of the same golfer that have swings, newest first. */
export function earlierSessions(session, sessions) {
  if (session.golfer_id === null) return [];
  return sessions.filter((other) => other.golfer_id === session.golfer_id && other.id !== session.id
    && other.swing_count > 0 && Date.parse(other.started_at) <= Date.parse(session.started_at));
}
