// A spec in the fragment of an address: compressed, as text that needs no escapes. A fragment is not sent to a server.

const MARK = "#spec=";

/** Most characters of a spec in a link when it is unpacked: a fragment can come from anywhere. */
const LARGEST = 1_000_000;

/** Most characters of a link that a QR code holds: version 40, bytes, error correction L (ISO/IEC 18004). */
export const MOST_IN_QR = 2953;

/**
 * @param {ReadableStream<Uint8Array>} stream
 * @param {number} most bytes
 */
async function bytesOf(stream, most) {
  /** @type {Uint8Array[]} */
  const pieces = [];
  let size = 0;
  const reader = stream.getReader();
  for (;;) {
    const { done, value } = await reader.read();
    if (done) break;
    size += value.length;
    if (size > most) throw new RangeError("The spec in the link is too large.");
    pieces.push(value);
  }
  const all = new Uint8Array(size);
  let at = 0;
  for (const piece of pieces) {
    all.set(piece, at);
    at += piece.length;
  }
  return all;
}

/** @param {Uint8Array} bytes @param {any} through */
const piped = (bytes, through) => new Blob([/** @type {any} */ (bytes)]).stream().pipeThrough(through);

/**
 * Return the fragment for a spec.
 * @param {object} spec
 */
export async function fragmentOf(spec) {
  const bytes = await bytesOf(piped(new TextEncoder().encode(JSON.stringify(spec)), new CompressionStream("deflate-raw")), LARGEST);
  let binary = "";
  for (const byte of bytes) binary += String.fromCharCode(byte);
  return MARK + btoa(binary).replaceAll("+", "-").replaceAll("/", "_").replace(/=+$/, "");
}

/**
 * Return the spec of a fragment; null if there is none.
 * @param {string} hash
 * @returns {Promise<any>}
 * @throws {Error} if the fragment does not hold one
 */
export async function specIn(hash) {
  if (!hash.startsWith(MARK)) return null;
  const binary = atob(hash.slice(MARK.length).replaceAll("-", "+").replaceAll("_", "/"));
  const bytes = Uint8Array.from(binary, (letter) => letter.charCodeAt(0));
  const made = await bytesOf(piped(bytes, new DecompressionStream("deflate-raw")), LARGEST);
  return JSON.parse(new TextDecoder().decode(made));
}
