// Message catalogue: all texts of the page, from messages.<language>.json, and the language they are in.

/** Languages of the page, each with its own name; English has every message. @type {Record<string, string>} */
export const LANGUAGES = { en: "English", de: "Deutsch", ar: "العربية" };

/** Languages that are written from right to left. */
const RIGHT_TO_LEFT = ["ar"];

const STORE = "drawerwright.language";

let language = "en";
let plurals = new Intl.PluralRules(language);
let decimals = new Intl.NumberFormat(language, { maximumFractionDigits: 3, useGrouping: false });

export const languageNow = () => language;

/** @param {string} tag a language tag (BCP 47) */
const supported = (tag) => Object.keys(LANGUAGES).find((name) => name === tag.toLowerCase().split("-")[0]);

/** The language that was chosen, else the first of the browser's that the page has. */
function preferred() {
  let chosen = null;
  try {
    chosen = window.localStorage.getItem(STORE);
  } catch { /* without storage the browser's languages count */ }
  for (const tag of [chosen ?? "", ...navigator.languages]) if (supported(tag)) return supported(tag) ?? "en";
  return "en";
}

/** Choose a language; the page is loaded again in it. @param {string} name */
export function chooseLanguage(name) {
  try {
    window.localStorage.setItem(STORE, name);
  } catch { /* as above: then the choice is lost with the page */ }
  window.location.reload();
}

/** The messages of the page's language, and those in English for what it lacks. @type {Record<string, string>[]} */
let catalogues = [];

export async function loadMessages() {
  language = preferred();
  plurals = new Intl.PluralRules(language);
  decimals = new Intl.NumberFormat(language, { maximumFractionDigits: 3, useGrouping: false });
  document.documentElement.lang = language;
  document.documentElement.dir = RIGHT_TO_LEFT.includes(language) ? "rtl" : "ltr";
  const names = language === "en" ? ["en"] : [language, "en"];
  catalogues = await Promise.all(names.map(async (name) => (await fetch(`kiosk/language/messages.${name}.json`)).json()));
}

/**
 * Return the message of a key with its {placeholders} filled in; for a `count` that of its plural category (Unicode CLDR),
 * such as `<key>_one`, if there is one. Numbers are written as the language does.
 * @param {string} key
 * @param {Record<string, string | number>} [values]
 */
export function t(key, values = {}) {
  const plural = typeof values.count === "number" ? `${key}_${plurals.select(values.count)}` : key;
  const words = catalogues.find((catalogue) => key in catalogue);
  const text = words?.[plural] ?? words?.[key];
  if (text === undefined) {
    console.error(`No message: ${key}`);
    return key;
  }
  return text.replace(/\{(\w+)\}/g, (whole, name) => (name in values ? written(values[name]) : whole));
}

/** Isolates of text from left to right (Unicode Bidirectional Algorithm, 2.4). */
const [ISOLATE, POP] = ["\u2066", "\u2069"];

/**
 * Join the sides of a thing or a number of cells: from left to right in every language, as on a drawing.
 * @param {(string | number)[]} sides
 */
export function sidesText(sides) {
  const text = sides.join(" × ");
  return RIGHT_TO_LEFT.includes(language) ? `${ISOLATE}${text}${POP}` : text;
}

/** Whether there is a message of a key. @param {string} key */
export const hasMessage = (key) => catalogues.some((catalogue) => key in catalogue);

/** @param {string | number | undefined} value */
const written = (value) => (typeof value === "number" ? decimals.format(value) : String(value));

/** Fill in the messages of the static page. */
export function translate() {
  for (const node of /** @type {NodeListOf<HTMLElement>} */ (document.querySelectorAll("[data-t]"))) node.textContent = t(node.dataset.t ?? "");
  for (const node of /** @type {NodeListOf<HTMLElement>} */ (document.querySelectorAll("[data-t-label]"))) node.setAttribute("aria-label", t(node.dataset.tLabel ?? ""));
}
