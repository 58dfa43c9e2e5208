// Fitting texts into boxes: level or upright, no smaller than can be read. Numbers only.

/** Sizes of text on a plan in CSS px, largest first. */
const SIZES = [14, 12, 11];

/** Width of a character and height of a line, as shares of the size of the text. */
const CHARACTER = 0.56;
const LINE = 1.18;

const MARGIN = 3;

/**
 * Break a text at spaces into lines of so many characters; null if a word is longer.
 * @param {string} text
 * @param {number} most
 */
export function broken(text, most) {
  /** @type {string[]} */
  const lines = [];
  for (const word of text.split(" ")) {
    if (word.length > most) return null;
    const last = lines.at(-1);
    if (last !== undefined && last.length + 1 + word.length <= most) lines[lines.length - 1] = `${last} ${word}`;
    else lines.push(word);
  }
  return lines;
}

/**
 * Fit a mark and a name into a box of so many px: the largest size that takes both, the name cut short, or the mark alone.
 * @param {string} mark
 * @param {string} name
 * @param {number} width
 * @param {number} height
 * @returns {{size: number, lines: string[], upright: boolean} | null} null if not even the mark fits
 */
export function fitText(mark, name, width, height) {
  const upright = height > width * 1.8;
  const [across, down] = upright ? [height, width] : [width, height];
  const lead = mark ? [mark] : [];
  for (const size of SIZES) {
    const most = Math.floor((across - 2 * MARGIN) / (size * CHARACTER));
    const rows = Math.floor((down - 2 * MARGIN) / (size * LINE));
    const lines = name ? broken(name, most) : [];
    if (lines && lines.length + lead.length <= rows) return { size, lines: [...lead, ...lines], upright };
    const whole = `${mark} ${name}`.trim();
    if (rows >= 1 && whole.length <= most) return { size, lines: [whole], upright };
  }
  const size = 11;
  const most = Math.floor((across - 2 * MARGIN) / (size * CHARACTER));
  const rows = Math.floor((down - 2 * MARGIN) / (size * LINE));
  if (rows < 1 || most < mark.length) return null;
  if (rows > lead.length && most >= 6) {
    const cut = wrapped(name, most).slice(0, rows - lead.length);
    if (cut.join(" ").length < name.length) cut[cut.length - 1] = `${(cut.at(-1) ?? "").slice(0, most - 1)}…`;
    return { size, lines: [...lead, ...cut], upright };
  }
  return { size, lines: lead, upright };
}

/** Break a text into lines of so many characters, long words within themselves. @param {string} text @param {number} most */
function wrapped(text, most) {
  const words = text.split(" ").flatMap((word) => (word.length > most ? (word.match(new RegExp(`.{1,${most}}`, "gu")) ?? []) : [word]));
  return broken(words.join(" "), most) ?? [];
}
