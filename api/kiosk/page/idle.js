// Idle timeout: a shared screen returns to its start when nobody has touched it for a while.

import { button, byId, h } from "./dom.js";
import { t } from "./messages.js";

const WARNING = 30;

/** After this many idle minutes ask whether anybody is there, and without an answer call `reset`; 0 means never. */
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
    const dialog = byId("dialog");
    if (dialog.open) dialog.close("");
    let left = WARNING;
    const count = h("p", { role: "timer" }, t("idle_text", { count: left }));
    dialog.replaceChildren(h("h2", { id: "dialog-title" }, t("idle_title")), count,
      h("div", { class: "choices" }, button(t("still_here"), () => dialog.close("stay"), { class: "main", id: "still-here" })));
    dialog.returnValue = "";
    dialog.addEventListener("close", () => {
      window.clearInterval(counting);
      counting = 0;
      if (dialog.returnValue === "reset") reset();
      arm();
    }, { once: true });
    dialog.showModal();
    counting = window.setInterval(() => {
      left -= 1;
      count.textContent = t("idle_text", { count: left });
      if (left <= 0) dialog.close("reset");
    }, 1000);
  }
  for (const kind of ["pointerdown", "keydown", "input", "wheel"]) window.addEventListener(kind, arm, { passive: true });
  arm();
}
