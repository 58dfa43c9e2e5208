// Lets the page open without the service, where the browser allows it: over HTTPS or on the service's own machine.

/** Register the service worker and have it keep the files that the page has loaded. */
export async function keepForOffline() {
  if (!window.isSecureContext || !navigator.serviceWorker) return;
  try {
    await navigator.serviceWorker.register("kiosk/worker.js", { scope: "/" });
    const { active } = await navigator.serviceWorker.ready;
    const files = performance.getEntriesByType("resource").map((entry) => entry.name);
    active?.postMessage([window.location.origin + window.location.pathname, ...new Set(files)]);
    document.documentElement.dataset.offline = "true";
  } catch { /* a browser may forbid it, as private windows do: then the page needs the service */ }
}
