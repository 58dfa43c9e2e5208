// A code for the phone, and what is heard of its photo.

import { signal } from "@preact/signals";
import { useEffect, useRef } from "preact/hooks";

import { html } from "../elements/html.js";
import { t } from "../language/messages.js";
import { randomId } from "../service/service.js";
import { qrCode } from "../draft/share.js";
import { unitNow } from "../language/units.js";
import { fragmentOf, isOwnMachine, waitForPhone } from "./phone_link.js";
import { options } from "./reading.js";

/** Letters of a code: 40 bits, as it only has to differ from the other codes of a key. */
const CODE = 10;

const heard = signal("");
const address = signal("");

/** @param {{arrived: (id: string) => void}} props */
export function PhoneCode({ arrived }) {
  const figure = useRef(/** @type {HTMLElement | null} */ (null));
  useEffect(() => {
    const end = new AbortController();
    const code = randomId().slice(0, CODE);
    [heard.value, address.value] = ["", ""];
    const begin = async () => {
      const base = await publicAddress();
      const { thickness, body, bar } = options.value;
      const link = { code, thickness, body: body === "stepped" ? "" : body, bar, unit: unitNow() === "in" ? "in" : "" };
      if (end.signal.aborted) return;
      address.value = `${base}${fragmentOf(link)}`;
      if (!isOwnMachine(new URL(base).hostname)) figure.current?.replaceChildren(await qrCode(address.value, t("phone_qr")));
      const id = await waitForPhone(code, (state) => { heard.value = state; }, end.signal);
      if (id) arrived(id);
    };
    begin();
    return () => end.abort();
  }, []);
  const unreachable = address.value && isOwnMachine(new URL(address.value).hostname);
  return html`<div class="tray-panel" id="phone-code">
    <p class="hint">${t("phone_hint")}</p>
    ${unreachable && html`<p class="problems" id="phone-unreachable">${t("phone_unreachable")}</p>`}
    <div ref=${figure}></div>
    ${address.value && html`<div class="field"><label for="phone-address">${t("link")}</label><input id="phone-address" readonly value=${address.value} /></div>`}
    <p class="sum" role="status" id="phone-heard">${heard.value ? t(`phone_${heard.value}`) : t("phone_waiting")}</p>
  </div>`;
}

/** The address of this page as a phone can open it: that of the settings, else the one in use. */
async function publicAddress() {
  const { origin, pathname } = window.location;
  try {
    const { public_url: url } = await (await fetch("kiosk/settings.json")).json();
    return url ? `${url.replace(/\/+$/, "")}/` : origin + pathname;
  } catch {
    return origin + pathname;
  }
}
