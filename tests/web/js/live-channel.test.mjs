import assert from "node:assert/strict";
import { beforeEach, mock, test } from "node:test";
import {
  GREETING_LIMIT_MS, LiveChannel, LONGEST_WAIT_MS, QUIET_LIMIT_MS, liveAddress, waitBefore,
} from "../../../web/js/lib/live-channel.js";

class Line {
  closed = false;
  close() { this.closed = true; }
  say(message) { this.onmessage?.({ data: JSON.stringify(message) }); }
  breaks() { this.onclose?.(); }
}

let lines, states, messages, channel;

beforeEach((context) => {
  mock.timers.reset();
  mock.timers.enable({ apis: ["setTimeout"] });
  [lines, states, messages] = [[], [], []];
  channel = new LiveChannel({
    open: () => { lines.push(new Line()); return lines.at(-1); },
    onMessage: (message) => messages.push(message.type),
    onState: (state) => states.push(state),
  });
  channel.connect();
  return context;
});

const hello = { type: "hello", swings: [] };
const lastState = () => states.at(-1).kind;

test("it is open once the service has greeted", () => {
  assert.equal(lastState(), "connecting");
  lines[0].say(hello);
  assert.equal(lastState(), "open");
  assert.deepEqual(messages, ["hello"]);
});

test("a broken line is said and dialled again by itself", () => {
  lines[0].say(hello);
  lines[0].breaks();
  assert.equal(lastState(), "lost");
  mock.timers.tick(states.at(-1).retryMs);
  assert.equal(lines.length, 2);
  lines[1].say(hello);
  assert.equal(lastState(), "open");
});

test("a quiet line is dialled anew without a word, and nothing is called lost", () => {
  lines[0].say(hello);
  mock.timers.tick(QUIET_LIMIT_MS);
  assert.equal(lines.length, 2);
  assert.ok(lines[0].closed);
  lines[1].say(hello);
  assert.ok(states.every((state) => state.kind !== "lost"));
});

test("a quiet line that brings no greeting is lost", () => {
  lines[0].say(hello);
  mock.timers.tick(QUIET_LIMIT_MS);
  mock.timers.tick(GREETING_LIMIT_MS);
  assert.equal(lastState(), "lost");
});

test("any word keeps the line", () => {
  lines[0].say(hello);
  for (let i = 0; i < 5; i += 1) {
    mock.timers.tick(QUIET_LIMIT_MS - 1);
    lines[0].say({ type: "status", streams: [] });
  }
  assert.equal(lines.length, 1);
});

test("a line that was left says nothing any more", () => {
  lines[0].say(hello);
  channel.disconnect();
  assert.ok(lines[0].closed);
  lines[0].say({ type: "swing" });
  mock.timers.tick(10 * QUIET_LIMIT_MS);
  assert.deepEqual(messages, ["hello"]);
  assert.equal(lines.length, 1);
});

test("the network's return is not waited for", () => {
  lines[0].breaks();
  channel.hurry();
  assert.equal(lines.length, 2);
  channel.hurry();
  assert.equal(lines.length, 2);
});

test("waits grow to a limit and differ by chance", () => {
  assert.ok(waitBefore(2, 0) > waitBefore(1, 0));
  assert.equal(waitBefore(30, 0), LONGEST_WAIT_MS);
  assert.ok(waitBefore(3, 1) < waitBefore(3, 0));
});

test("the live address is this page's own service", () => {
  const here = { protocol: "http:", host: "127.0.0.1:8765" };
  assert.equal(liveAddress(here), "ws://127.0.0.1:8765/api/live");
  assert.equal(liveAddress({ ...here, protocol: "https:" }, "a b"), "wss://127.0.0.1:8765/api/sessions/a%20b/live");
});
