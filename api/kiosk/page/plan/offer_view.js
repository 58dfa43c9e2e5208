// Another plan of the same draft: what it would gain, and the choice between it and the one on show.

import { announce } from "../elements/dom.js";
import { html } from "../elements/html.js";
import { t } from "../language/messages.js";
import { duration } from "../language/numbers.js";
import { hasLooseThings, lacking } from "./continuation.js";
import { fresh, latest, longer, offer, searchLonger, takeOffer } from "./plan.js";

/** @typedef {import("../documents").Plan} Plan */

/** What a plan has over the one on show, in words. @param {Plan} plan @param {Plan} shown */
function gain(plan, shown) {
  const places = lacking(shown) - lacking(plan);
  const [now, then] = [shown.work?.seconds ?? null, plan.work?.seconds ?? null];
  return [
    places > 0 && t("offer_places", { count: places }),
    now !== null && then !== null && Math.abs(then - now) >= 60 && t(then < now ? "offer_sooner" : "offer_later", { by: duration(Math.abs(now - then)), total: duration(then) }),
  ].filter(Boolean).join(" ");
}

/** @param {{id: string}} props that of the element: it stands beside the plan, and where the parts are made */
export function OfferView({ id }) {
  const [other, shown] = [offer.value, latest.value];
  if (!other || !shown || !fresh.value) return null;
  const take = () => {
    takeOffer();
    announce(t(other.former ? "former_shown" : "offer_shown"));
  };
  return html`<section class="offer" id=${id} role="status">
    <p>${other.former ? t("former_plan") : [t("offer_plan"), gain(other.document, shown.document)].join(" ")}</p>
    <div class="choices">
      <button type="button" id=${`${id}-take`} class=${other.former ? "quiet" : ""} onClick=${take}>${t(other.former ? "former_take" : "offer_take")}</button>
      <button type="button" id=${`${id}-keep`} class="quiet" onClick=${() => { offer.value = null; }}>${t("offer_keep")}</button>
    </div>
  </section>`;
}

/** A longer search, for what the service may still lay out. */
export function SearchView() {
  const shown = latest.value;
  if (!shown || !fresh.value || !hasLooseThings(shown.body)) return null;
  const runs = longer.value === t("search_runs");
  return html`<div class="choices start">
    <button type="button" id="search-longer" class="quiet" disabled=${runs || shown.body.layout.effort === "normal"} onClick=${searchLonger}>${t("search_longer")}</button>
    <p class="hint" id="search-state" role="status">${longer.value}</p></div>`;
}
