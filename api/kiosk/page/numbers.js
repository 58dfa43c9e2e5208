// Times and amounts in words.

import { t } from "./messages.js";

/** @param {number} seconds */
export function duration(seconds) {
  const minutes = Math.round(seconds / 60);
  return minutes < 60 ? t("minutes", { minutes }) : t("hours", { hours: Math.floor(minutes / 60), minutes: String(minutes % 60).padStart(2, "0") });
}

/** An amount of money; the currency is that of the price that was entered. @param {number} amount */
export const moneyText = (amount) => amount.toFixed(2);

/** @param {number} bytes */
export const kilobytes = (bytes) => (bytes < 1_000_000 ? `${Math.max(1, Math.round(bytes / 1000))} kB` : `${(bytes / 1_000_000).toFixed(1)} MB`);
