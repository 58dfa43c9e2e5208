// The page's words: one catalogue file, messages.<language>.json.

let words = {};

export async function loadMessages() {
  const answer = await fetch("kiosk/messages.en.json");
  words = await answer.json();
}

/** The text of a key, its {names} filled in; a count of 1 takes the key with _one, if there is one. */
export function t(key, values = {}) {
  const one = values.count === 1 ? words[`${key}_one`] : undefined;
  const text = one ?? words[key];
  if (text === undefined) {
    console.error(`No message: ${key}`);
    return key;
  }
  return text.replace(/\{(\w+)\}/g, (whole, name) => (name in values ? String(values[name]) : whole));
}

/** Fill in the static page. */
export function translate(root = document) {
  for (const node of root.querySelectorAll("[data-t]")) node.textContent = t(node.dataset.t);
  for (const node of root.querySelectorAll("[data-t-label]")) node.setAttribute("aria-label", t(node.dataset.tLabel));
}
