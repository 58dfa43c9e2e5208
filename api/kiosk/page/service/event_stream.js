// Server-sent events read from a response, as `EventSource` cannot send a key. Parsing is that of WHATWG HTML, 9.2.6.

/** @typedef {{type: string, data: string, id: string}} StreamEvent */

/** Reads events out of text that arrives in pieces. */
export class EventParser {
  constructor() {
    /** Id of the last event, to resume after it. */
    this.lastId = "";
    /** Milliseconds to wait before the stream is opened again; null if the service has not said. @type {number | null} */
    this.retry = null;
    this.rest = "";
    this.first = true;
    this.#clear();
  }

  /**
   * Take in a piece of the stream.
   * @param {string} piece
   * @returns {StreamEvent[]} the events that it completes
   */
  add(piece) {
    let text = this.rest + piece;
    if (this.first && text) {
      text = text.replace(/^\ufeff/, "");
      this.first = false;
    }
    /** @type {StreamEvent[]} */
    const events = [];
    // a carriage return at the end may be the first half of a line's end
    const held = text.endsWith("\r") ? 1 : 0;
    const lines = text.slice(0, text.length - held).split(/\r\n|\n|\r/);
    this.rest = (lines.pop() ?? "") + (held ? "\r" : "");
    for (const line of lines) {
      if (line === "") {
        if (this.data.length) events.push({ type: this.type || "message", data: this.data.join("\n"), id: this.lastId });
        this.#clear();
      } else this.#field(line);
    }
    return events;
  }

  #clear() {
    /** @type {string[]} */
    this.data = [];
    this.type = "";
  }

  /** @param {string} line */
  #field(line) {
    const [, name = "", value = ""] = /^([^:]*)(?:: ?([^]*))?$/.exec(line) ?? [];
    if (name === "data") this.data.push(value);
    else if (name === "event") this.type = value;
    else if (name === "id" && !value.includes("\0")) this.lastId = value;
    else if (name === "retry" && /^\d+$/.test(value)) this.retry = Number(value);
  }
}

/**
 * Read the events of a response until it ends.
 * @param {ReadableStream<Uint8Array>} body
 * @param {EventParser} parser
 * @param {(event: StreamEvent) => void} take
 */
export async function readEvents(body, parser, take) {
  const reader = body.pipeThrough(/** @type {any} */ (new TextDecoderStream())).getReader();
  for (;;) {
    const { done, value } = await reader.read();
    if (done) return;
    for (const event of parser.add(value)) take(event);
  }
}
