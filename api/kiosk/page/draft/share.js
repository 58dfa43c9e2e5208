// Passing a drawer on: as a file, a link or a QR code.

import { announce, button, byId, h, openDialog, s } from "../elements/dom.js";
import { draft } from "./draft.js";
import { t } from "../language/messages.js";
import { saveBlob } from "../service/service.js";
import { fragmentOf, MOST_IN_QR } from "./share_link.js";
import { specOf } from "./spec_of.js";

/** Light modules around a QR code (ISO/IEC 18004: four). */
const QUIET_ZONE = 4;

export function saveSpec() {
  const { spec } = specOf(draft);
  const file = `${spec.name.replace(/[^\p{L}\p{N}._-]+/gu, "-").slice(0, 60) || "drawer"}.json`;
  saveBlob(new Blob([`${JSON.stringify(spec, null, 2)}\n`], { type: "application/json" }), file);
  announce(t("saved", { name: file }));
}

/** Offer the drawers as a file, a link and a QR code. */
export async function shareSpec() {
  const { spec } = specOf(draft);
  const address = `${window.location.origin}${window.location.pathname}${await fragmentOf(spec)}`;
  const field = h("input", { id: "share-link", readonly: true, value: address });
  const copy = async () => {
    field.select();
    try {
      await navigator.clipboard.writeText(address);
      announce(t("copied"));
    } catch {
      announce(t("copy_by_hand")); // on plain HTTP in a LAN a page has no clipboard
    }
  };
  await openDialog(t("share_spec"), [
    h("p", { class: "hint" }, t("share_hint")),
    h("div", { class: "field" }, h("label", { for: "share-link" }, t("link")), field),
    h("div", { class: "choices start" }, button(t("copy_link"), copy, { id: "copy-link" }), button(t("save_file"), saveSpec, { id: "share-file" })),
    await qrCode(address),
  ], [["", t("close")]]);
}

/** A QR code of an address. @param {string} text @param {string} [label] */
export async function qrCode(text, label = t("qr_of_link")) {
  if (text.length > MOST_IN_QR) return h("p", { class: "hint", id: "share-too-long" }, t("too_long_for_qr"));
  const { encode } = await import(new URL("../vendor/uqr/uqr.mjs", import.meta.url).href);
  const { data, size } = encode(text, { ecc: "L", border: QUIET_ZONE });
  const path = data.flatMap((/** @type {boolean[]} */ row, /** @type {number} */ y) => row.flatMap((dark, x) => (dark ? [`M${x} ${y}h1v1h-1z`] : []))).join("");
  return h("figure", {}, s("svg", { class: "qr", id: "share-qr", viewBox: `0 0 ${size} ${size}`, role: "img", "aria-label": label, "shape-rendering": "crispEdges" },
    s("rect", { width: size, height: size, fill: "#ffffff" }), s("path", { d: path, fill: "#000000" })));
}

export const beginSharing = () => {
  byId("save-spec").addEventListener("click", saveSpec);
  byId("share-spec").addEventListener("click", shareSpec);
};
