// Message catalogue: all texts of the page, from messages.<language>.json.

/** @type {Record<string, string>} */
let words = {};

export async function loadMessages() {
  const answer = await fetch("kiosk/messages.en.json");
  words = await answer.json();
}

/**
 * Return the message of a key with its {placeholders} filled in; for `count` 1 the singular, `<key>_one`, if it exists.
 * @param {string} key
 * @param {Record<string, string | number>} [values]
 */
export function t(key, values = {}) {
  const singular = values.count === 1 ? words[`${key}_one`] : undefined;
  const text = singular ?? words[key];
  if (text === undefined) {
    console.error(`No message: ${key}`);
    return key;
  }
  return text.replace(/\{(\w+)\}/g, (whole, name) => (name in values ? String(values[name]) : whole));
}

/** Fill in the messages of the static page. */
export function translate() {
  for (const node of /** @type {NodeListOf<HTMLElement>} */ (document.querySelectorAll("[data-t]"))) node.textContent = t(node.dataset.t ?? "");
  for (const node of /** @type {NodeListOf<HTMLElement>} */ (document.querySelectorAll("[data-t-label]"))) node.setAttribute("aria-label", t(node.dataset.tLabel ?? ""));
}
