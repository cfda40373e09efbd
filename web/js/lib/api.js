/** Talking to the service. A refusal becomes an ApiError whose text is fit for the page. */

const UNREACHABLE = "The torsolog service does not answer. Is it still running on this computer?";

export class ApiError extends Error {
  constructor(message, status = 0) {
    super(message);
    this.name = "ApiError";
    this.status = status;
  }
}

/** @returns the decoded JSON at `path`; throws ApiError. */
export async function getJson(path, { signal } = {}) {
  return answer(path, { signal, headers: { Accept: "application/json" } });
}

/** Sends `body` as JSON. @returns the decoded answer; throws ApiError. */
export async function sendJson(method, path, body = {}) {
  const headers = { Accept: "application/json", "Content-Type": "application/json" };
  return answer(path, { method, headers, body: JSON.stringify(body) });
}

async function answer(path, request) {
  let response;
  try {
    response = await fetch(path, request);
  } catch (cause) {
    if (cause.name === "AbortError") throw cause;
    throw new ApiError(UNREACHABLE);
  }
  if (!response.ok) throw await refusal(response);
  return response.json();
}

/** An RFC 9457 problem, or whatever came in its place, as one error. */
async function refusal(response) {
  const problem = await response.json().catch(() => ({}));
  const text = problem.detail ?? problem.title ?? `The service answered with ${response.status}.`;
  return new ApiError(String(text), response.status);
}

/** Path of a session's swings as CSV. */
export function csvPath(sessionId) {
  return `/api/sessions/${encodeURIComponent(sessionId)}/swings.csv`;
}

/** Path of a session in sum. */
export function summaryPath(sessionId) {
  return `/api/sessions/${encodeURIComponent(sessionId)}/summary`;
}

/** Path of what changed from one session to a later one. */
export function comparisonPath(beforeId, afterId) {
  return `/api/comparison?${new URLSearchParams({ before: beforeId, after: afterId })}`;
}
