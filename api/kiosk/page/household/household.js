// The household: the list of drawers with a search for things, and the page of one drawer.

import { announce, button, byId, h, show } from "../elements/dom.js";
import { contentRows, drawerAddress, piecesText } from "./household_text.js";
import { householdNow } from "./lists.js";
import { t } from "../language/messages.js";
import { changeJob } from "../plan/previous.js";
import { messageOf, request, requestJson, RequestRefused } from "../service/service.js";

const PAGE = 50;
const MOST_MATCHES = 5;

/** @typedef {{id: string, drawer: {name: string, place?: string | null, note?: string | null}, layout: {job: string} | null, pieces: Record<string, number>}} DrawerRecord */
/** @typedef {{id: string, drawer: string | null, thing: {name: string, count?: number}, match: {sentence: string, places: {drawer: string, drawer_name: string}[]}}} ThingRecord */
/** @typedef {{missing: number, places: Parameters<typeof contentRows>[0]["places"]}} Contents */
/** @typedef {{drawers: {sentence: string}[]}} Report */

let drawn = 0;
/** @type {string | null} */
let picture = null;

/** Release the picture of a drawer. */
export function leaveHousehold() {
  drawn += 1;
  if (picture) URL.revokeObjectURL(picture);
  picture = null;
}

/** Draw what the address shows. */
export async function drawHousehold() {
  leaveHousehold();
  const turn = drawn;
  const address = householdNow() ?? { drawer: null, thing: null };
  byId("h-household").textContent = t("drawers");
  show(byId("household-body"), h("p", { class: "hint" }, t("loading")));
  try {
    const draw = address.drawer ? await drawerPage(address.drawer, address.thing, turn) : await drawerList();
    if (turn === drawn) draw();
  } catch (error) {
    const text = messageOf(error);
    if (turn === drawn) drawFault(text);
  }
}

/** @param {string} text */
function drawFault(text) {
  show(byId("household-body"),
    h("div", { class: "problems", role: "alert" }, h("p", {}, text)),
    h("div", { class: "choices" },
      button(t("try_again"), drawHousehold, { id: "try-again" }),
      householdNow()?.drawer && listButton(),
      plannerButton()));
}

/** @param {string} address */
const open = (address) => { window.location.hash = address; };
const listButton = () => button(t("all_drawers"), () => open("drawers"), { id: "all-drawers" });
const plannerButton = () => button(t("to_planner"), () => open(""), { id: "to-planner" });

async function drawerList() {
  const { drawers } = await requestJson("GET", `v1/drawers?limit=${PAGE}`);
  return () => {
    show(byId("household-body"),
      h("form", { id: "where", role: "search", onsubmit: search },
        h("div", { class: "field" },
          h("label", { for: "where-name" }, t("where_is")),
          h("div", { class: "search-row" },
            h("input", { id: "where-name", type: "search", maxlength: 200, autocomplete: "off", "aria-describedby": "where-hint" }),
            h("button", { type: "submit", id: "where-search", class: "main" }, t("search"))),
          h("p", { id: "where-hint", class: "hint" }, t("where_hint")))),
      h("div", { id: "where-matches" }),
      h("h3", {}, t("all_drawers")),
      drawers.length ? h("ul", { class: "plain files", id: "drawer-list" }, drawers.map(listed)) : h("p", { id: "no-drawers" }, t("no_drawers")),
      h("div", { class: "choices", id: "list-choices" }, moreButton(drawers), plannerButton()));
  };
}

/** @param {DrawerRecord} entry */
const listed = (entry) => h("li", {}, button(
  [h("span", { class: "what" }, entry.drawer.name), h("span", { class: "size" }, [entry.drawer.place, piecesText(entry, t)].filter(Boolean).join(": "))],
  () => open(drawerAddress(entry.id)), { id: `drawer-${entry.id}` }));

/** @param {DrawerRecord[]} drawers */
const moreButton = (drawers) => drawers.length === PAGE && button(t("more_drawers"), () => addDrawers(drawers.at(-1)?.id ?? ""), { id: "more-drawers" });

/** @param {string} after */
async function addDrawers(after) {
  const turn = drawn;
  try {
    const { drawers } = await requestJson("GET", `v1/drawers?limit=${PAGE}&after=${after}`);
    if (turn !== drawn) return;
    byId("drawer-list").append(...drawers.map(listed));
    show(byId("list-choices"), moreButton(drawers), plannerButton());
    if (drawers.length) byId(`drawer-${drawers[0].id}`).focus();
  } catch (error) {
    announce(messageOf(error));
  }
}

/** @param {Event} event */
async function search(event) {
  event.preventDefault();
  const turn = drawn;
  const name = /** @type {HTMLInputElement} */ (byId("where-name")).value.trim();
  if (!name) {
    byId("where-name").focus();
    return;
  }
  let body;
  try {
    const query = new URLSearchParams({ q: name, limit: String(MOST_MATCHES) });
    const { things } = await requestJson("GET", `v1/things?${query}`);
    announce(things.length ? things[0].match.sentence : t("nothing_matches", { name }));
    body = things.length
      ? h("ul", { class: "plain", id: "things-there" }, things.map(matched))
      : h("p", { id: "no-match" }, t("nothing_matches", { name }));
  } catch (error) {
    body = h("div", { class: "problems", role: "alert" }, h("p", {}, messageOf(error)));
  }
  if (turn === drawn) show(byId("where-matches"), body);
}

/** @param {ThingRecord} thing */
function matched(thing) {
  const drawers = new Map(thing.match.places.map((place) => [place.drawer, t("show_in", { name: place.drawer_name })]));
  if (!drawers.size && thing.drawer) drawers.set(thing.drawer, t("show_drawer"));
  return h("li", { class: "thing" }, h("p", {}, thing.match.sentence), h("div", { class: "choices" },
    [...drawers].map(([drawer, text]) => button(text, () => open(drawerAddress(drawer, thing.id)), { id: `show-${thing.id}-${drawer}` }))));
}

/** @param {string} id @param {string | null} thing @param {number} turn */
async function drawerPage(id, thing, turn) {
  const entry = await requestJson("GET", `v1/drawers/${id}`);
  const [{ things }, contents, report, map] = await Promise.all([
    requestJson("GET", `v1/things?drawer=${id}&limit=200`),
    entry.layout && requestJson("GET", `v1/drawers/${id}/contents`),
    entry.layout && requestJson("GET", `v1/household/report?drawer=${id}`),
    entry.layout && mapOf(id, thing),
  ]);
  if (map && turn === drawn) picture = URL.createObjectURL(map);
  return () => drawDrawer(entry, things, contents, report, thing);
}

/**
 * Return the map of a drawer as a picture; without the marks if the thing has gone.
 * @param {string} id
 * @param {string | null} thing
 * @returns {Promise<Blob>}
 */
async function mapOf(id, thing) {
  try {
    return await (await request("GET", `v1/drawers/${id}/map.svg${thing ? `?thing=${thing}` : ""}`)).blob();
  } catch (error) {
    if (!thing || !(error instanceof RequestRefused) || error.status !== 404) throw error;
    return mapOf(id, null);
  }
}

/** @param {DrawerRecord} entry @param {ThingRecord[]} things @param {Contents | null} contents @param {Report} report @param {string | null} thing */
function drawDrawer(entry, things, contents, report, thing) {
  const { name, place, note } = entry.drawer;
  byId("h-household").textContent = name;
  show(byId("household-body"),
    place && h("p", { id: "drawer-place" }, place),
    note && h("p", { class: "hint" }, note),
    h("p", { id: "drawer-pieces", class: "sum" }, piecesText(entry, t)),
    .../** @type {import("../elements/dom.js").Child[]} */ (contents ? [
      contents.missing > 0 && h("p", { class: "warnings", id: "drawer-missing" }, t("places_missing", { count: contents.missing })),
      report.drawers.map((floor) => h("p", { class: "hint", id: "drawer-floor" }, floor.sentence)),
      h("figure", {}, h("img", { id: "drawer-map", class: "drawer-map", src: picture, alt: t("map_of", { name }) })),
      contentsTable(contents, thing),
    ] : [h("p", { class: "hint" }, t("no_layout_hint"))]),
    h("h3", {}, t("things_of_drawer")),
    things.length ? h("ul", { id: "drawer-things" }, things.map((own) => h("li", own.id === thing ? { "aria-current": "true" } : {}, counted(own.thing)))) : h("p", { id: "no-things-here" }, t("no_things_here")),
    h("div", { class: "choices" }, entry.layout && button(t("change_job"), () => change(entry.layout?.job ?? ""), { id: "change-job", class: "main" }), listButton(), plannerButton()));
}

/** Go on with the job that laid a drawer out. @param {string} job */
async function change(job) {
  try {
    const left = await changeJob(job);
    window.history.pushState(null, "", window.location.pathname + window.location.search);
    window.dispatchEvent(new CustomEvent("draft-opened", { detail: left }));
  } catch (error) {
    announce(error instanceof RequestRefused && error.status === 404 ? t("job_gone") : messageOf(error));
  }
}

/** @param {ThingRecord["thing"]} thing */
const counted = (thing) => ((thing.count ?? 1) > 1 ? `${thing.count} × ${thing.name}` : thing.name);

/** @param {Contents} contents @param {string | null} thing */
function contentsTable(contents, thing) {
  return h("table", { class: "legend", id: "drawer-contents" }, h("caption", {}, t("what_is_where")),
    h("thead", {}, h("tr", {}, h("th", { scope: "col" }, t("mark")), h("th", { scope: "col", class: "roomy" }, t("name")),
      h("th", { scope: "col" }, t("holds")), h("th", { scope: "col" }, t("state")))),
    h("tbody", {}, contentRows(contents, thing).map((row) => h("tr", row.marked ? { class: "marked", "aria-current": "true" } : {},
      h("th", { scope: "row" }, row.mark), h("td", { class: "roomy" }, row.name), h("td", {}, row.items),
      h("td", {}, t(row.placed ? "in_place" : "not_in_place"))))));
}
