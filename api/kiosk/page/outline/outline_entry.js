// Where outlines from photos and files begin. The panel is loaded when it is opened: 27 of the page's 160 kB, compressed.

import { signal } from "@preact/signals";
import { useEffect, useRef } from "preact/hooks";

import { html } from "../elements/html.js";
import { t } from "../language/messages.js";
import { linkIn } from "./phone_link.js";

/** @typedef {import("../draft/draft_format.js").Thing} Thing */
/** @typedef {(things: (Partial<Thing> & {name: string})[]) => void} Add */

/** What a desk asks this phone for. @type {import("@preact/signals").Signal<import("./phone_link.js").PhoneLink | null>} */
export const link = signal(null);

/** The panel once it is loaded. @type {import("@preact/signals").Signal<((props: {add: Add}) => any) | null>} */
const panel = signal(null);

async function load() {
  const { OutlinePanel } = await import("./outline_panel.js");
  panel.value = OutlinePanel;
}

/** Whether the address asks this phone for a photo; its panel is open then. */
export function phoneAsked() {
  const incoming = linkIn(window.location.hash);
  if (incoming && incoming.code !== link.value?.code) link.value = incoming;
  return incoming !== null;
}

/** @param {{add: Add}} props */
export function OutlineEntry({ add }) {
  const node = useRef(/** @type {HTMLDetailsElement | null} */ (null));
  const incoming = link.value;
  useEffect(() => {
    if (!incoming || !node.current) return;
    node.current.open = true;
    node.current.scrollIntoView();
  }, [incoming, panel.value]);
  const toggle = (/** @type {any} */ event) => { if (event.currentTarget.open && !panel.value) load(); };
  return html`<details class="paste" id="outline" ref=${node} onToggle=${toggle}>
    <summary>${t("outline_title")}</summary>
    ${panel.value && html`<${panel.value} add=${add} />`}
  </details>`;
}
