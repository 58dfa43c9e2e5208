// The service worker: keeps the files of the page, so that it opens without the service. Jobs and plans are never kept.

const KEPT = "drawerwright-page";

const worker = /** @type {any} */ (globalThis);

/** @param {Request} request */
function isKept({ method, url }) {
  const { origin, pathname } = new URL(url);
  return method === "GET" && origin === worker.location.origin && (pathname === "/" || pathname.startsWith("/kiosk/") || pathname === "/v1/catalogue");
}

/** The answer of the service, or what was kept of it. @param {Request} request */
async function answer(request) {
  try {
    const fresh = await fetch(request);
    if (fresh.ok) await (await caches.open(KEPT)).put(request, fresh.clone());
    return fresh;
  } catch (error) {
    const kept = await caches.match(request, { ignoreSearch: true, ignoreVary: true });
    if (!kept) throw error;
    return kept;
  }
}

worker.addEventListener("install", () => worker.skipWaiting());
worker.addEventListener("activate", (/** @type {any} */ event) => event.waitUntil(worker.clients.claim()));
worker.addEventListener("message", (/** @type {any} */ event) => {
  const requests = event.data.map((/** @type {string} */ url) => new Request(url)).filter(isKept);
  event.waitUntil(caches.open(KEPT).then((cache) => cache.addAll(requests)));
});
worker.addEventListener("fetch", (/** @type {any} */ event) => {
  if (isKept(event.request)) event.respondWith(answer(event.request));
});
