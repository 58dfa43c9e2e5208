// Server-sent events, against the examples of the WHATWG HTML standard (9.2.6, Interpreting an event stream).

import assert from "node:assert/strict";
import { test } from "node:test";

import { EventParser, readEvents } from "../../../../../api/kiosk/page/service/event_stream.js";

/** @param {string[]} pieces */
const read = (...pieces) => {
  const parser = new EventParser();
  return { parser, events: pieces.flatMap((piece) => parser.add(piece)) };
};

test("lines of data are one event", () => {
  assert.deepEqual(read("data: YHOO\ndata: +2\ndata: 10\n\n").events, [{ type: "message", data: "YHOO\n+2\n10", id: "" }]);
});

test("comments, ids and blocks without data are as in the standard's example", () => {
  const { events, parser } = read(": test stream\n\ndata: first event\nid: 1\n\ndata:second event\nid\n\ndata:  third event\n\n");
  assert.deepEqual(events.map(({ data, id }) => [data, id]), [["first event", "1"], ["second event", ""], [" third event", ""]]);
  assert.equal(parser.lastId, "");
});

test("data without a value counts, and a block that is cut off does not", () => {
  assert.deepEqual(read("data\n\ndata\ndata\n\ndata:").events.map((event) => event.data), ["", "\n"]);
});

test("a colon may be followed by a space", () => {
  assert.deepEqual(read("data:test\n\ndata: test\n\n").events.map((event) => event.data), ["test", "test"]);
});

test("the time to reconnect and the type are read; a bad time is not", () => {
  const { events, parser } = read("retry: 2000\nretry: soon\n\nid: 3\nevent: job.running\ndata: {}\n\n");
  assert.equal(parser.retry, 2000);
  assert.deepEqual(events, [{ type: "job.running", data: "{}", id: "3" }]);
});

test("any division into pieces and any line end gives the same events", () => {
  const text = "\ufeffid: 7\nevent: a\ndata: x\ndata: y\n\n: alive\n\ndata: z\n\n";
  const whole = read(text).events;
  assert.equal(whole.length, 2);
  for (const ending of ["\n", "\r\n", "\r"]) {
    const made = text.replaceAll("\n", ending);
    for (let at = 0; at <= made.length; at += 1) {
      // the last empty line may end in a return whose other half has not come yet
      assert.deepEqual(read(made.slice(0, at), `${made.slice(at)}\n`).events, whole, `${JSON.stringify(ending)} at ${at}`);
    }
  }
});

test("a body of bytes is read to its end, also when a letter is divided", async () => {
  const bytes = new TextEncoder().encode("data: Fülle\n\n");
  const body = new ReadableStream({ start(controller) {
    controller.enqueue(bytes.slice(0, 8));
    controller.enqueue(bytes.slice(8));
    controller.close();
  } });
  /** @type {string[]} */
  const data = [];
  await readEvents(body, new EventParser(), (event) => data.push(event.data));
  assert.deepEqual(data, ["Fülle"]);
});
