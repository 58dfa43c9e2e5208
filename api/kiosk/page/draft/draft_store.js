// Where the draft is kept in this browser: IndexedDB, which loses no write between tabs as localStorage does.

const NAME = "drawerwright";
const TABLE = "kept";
const KEY = "draft";

/** Where earlier versions of the page kept it. */
const EARLIER = "drawerwright.draft";

/** @type {IDBDatabase | null} */
let database = null;

/** Tells the other tabs. @type {BroadcastChannel | null} */
let channel = null;

/**
 * @template T
 * @param {IDBRequest<T>} request
 * @returns {Promise<T>}
 */
const answered = (request) => new Promise((resolve, reject) => {
  request.addEventListener("success", () => resolve(request.result));
  request.addEventListener("error", () => reject(request.error));
});

/** Open the store, if the browser has one. @param {(text: string) => void} whenChanged called with what another tab keeps */
export async function openStore(whenChanged) {
  try {
    const request = window.indexedDB.open(NAME, 1);
    request.addEventListener("upgradeneeded", () => request.result.createObjectStore(TABLE));
    database = await answered(request);
    channel = new BroadcastChannel(NAME);
    channel.addEventListener("message", (event) => { if (typeof event.data === "string") whenChanged(event.data); });
  } catch {
    database = null; // without a store the draft lives as long as the page
  }
}

/** @returns {Promise<string | null>} what was kept last, by this version of the page or an earlier one */
export async function kept() {
  /** @type {string | null} */
  let earlier = null;
  try {
    earlier = window.localStorage.getItem(EARLIER);
  } catch { /* without storage there is none */ }
  if (!database) return earlier;
  try {
    const text = await answered(database.transaction(TABLE).objectStore(TABLE).get(KEY));
    if (typeof text === "string") return text;
    if (earlier !== null) {
      await answered(database.transaction(TABLE, "readwrite").objectStore(TABLE).put(earlier, KEY));
      window.localStorage.removeItem(EARLIER);
    }
  } catch { /* as without a store */ }
  return earlier;
}

/** Keep a draft, and tell the other tabs. @param {string} text */
export function keep(text) {
  try {
    database?.transaction(TABLE, "readwrite").objectStore(TABLE).put(text, KEY);
    channel?.postMessage(text);
  } catch { /* the database was closed by the browser: as without a store */ }
}
