// Times, dates and amounts in words, as the language of the page writes them.

import { languageNow, t } from "./messages.js";

/** @param {number} value @param {number} [places] decimal places */
export const numberText = (value, places = 0) => new Intl.NumberFormat(languageNow(), { minimumFractionDigits: places, maximumFractionDigits: places }).format(value);

/** @type {Map<string, Intl.NumberFormat>} */
const formats = new Map();

/** A number with as many decimal places as it needs, and no more than `most`. @param {number} value @param {number} most */
export function decimalText(value, most) {
  const key = `${languageNow()} ${most}`;
  const format = formats.get(key) ?? new Intl.NumberFormat(languageNow(), { maximumFractionDigits: most, useGrouping: false });
  formats.set(key, format);
  return format.format(value);
}

/** @param {number} seconds */
export function duration(seconds) {
  const minutes = Math.round(seconds / 60);
  const two = new Intl.NumberFormat(languageNow(), { minimumIntegerDigits: 2 });
  return minutes < 60 ? t("minutes", { minutes: numberText(minutes) }) : t("hours", { hours: numberText(Math.floor(minutes / 60)), minutes: two.format(minutes % 60) });
}

/** @param {number} grams */
export const gramsText = (grams) => t("grams", { value: numberText(Math.round(grams)) });

/** An amount of money; the currency is that of the price that was entered. @param {number} amount */
export const moneyText = (amount) => numberText(amount, 2);

/** @param {number} bytes */
export const kilobytes = (bytes) => (bytes < 1_000_000 ? `${numberText(Math.max(1, Math.round(bytes / 1000)))} kB` : `${numberText(bytes / 1_000_000, 1)} MB`);

/** @param {string} moment RFC 3339 */
export const dateText = (moment) => new Intl.DateTimeFormat(languageNow(), { dateStyle: "medium", timeStyle: "short" }).format(new Date(moment));
