// Idle timeout: a shared screen returns to its start when nobody has touched it for a while.

import { button, byId, h } from "./dom.js";
import { t } from "../language/messages.js";

const WARNING = 30;

/**
 * After this many idle minutes ask whether anybody is there, and without an answer call `reset`; 0 means never.
 * @param {number} minutes
 * @param {() => void} reset
 */
export function watchIdle(minutes, reset) {
  if (!minutes) return;
  let timer = 0;
  let counting = 0;
  const arm = () => {
    if (counting) return;
    window.clearTimeout(timer);
    timer = window.setTimeout(warn, Math.max(1, minutes * 60 - WARNING) * 1000);
  };
  function warn() {
    const dialog = /** @type {HTMLDialogElement} */ (byId("dialog"));
    if (dialog.open) dialog.close("");
    let left = WARNING;
    const count = h("p", { role: "timer" }, t("idle_text", { count: left }));
    const end = () => {
      window.clearInterval(counting);
      counting = 0;
      if (dialog.open) dialog.close("");
      arm();
    };
    dialog.replaceChildren(h("h2", { id: "dialog-title" }, t("idle_title")), count,
      h("div", { class: "choices" }, button(t("still_here"), end, { class: "main", id: "still-here" })));
    dialog.addEventListener("cancel", end, { once: true });
    dialog.showModal();
    counting = window.setInterval(() => {
      left -= 1;
      count.textContent = t("idle_text", { count: left });
      if (left > 0) return;
      end();
      reset();
    }, 1000);
  }
  for (const kind of ["pointerdown", "keydown", "input", "wheel"]) window.addEventListener(kind, arm, { passive: true });
  arm();
}
