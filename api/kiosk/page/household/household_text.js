// The household in words: what an address names, and texts of drawers and places. No access to the page itself.

const ADDRESS = /^#drawer(?:s|=([0-9a-z]{26})(?:&thing=([0-9a-z]{26}))?)$/;

/**
 * Return what an address shows: the list of drawers, or one drawer with a thing marked; null for another view.
 * @param {string} hash
 * @returns {{drawer: string | null, thing: string | null} | null}
 */
export function householdAddress(hash) {
  const match = ADDRESS.exec(hash);
  return match && { drawer: match[1] ?? null, thing: match[2] ?? null };
}

/**
 * Return the address of a drawer, with a thing marked.
 * @param {string} drawer
 * @param {string | null} [thing]
 * @returns {string}
 */
export const drawerAddress = (drawer, thing = null) => `drawer=${drawer}${thing ? `&thing=${thing}` : ""}`;

/**
 * Return the state of a drawer's pieces in words, such as "9 placed, 1 spare".
 * @param {{layout: object | null, pieces: Record<string, number>}} drawer
 * @param {import("../documents").Text} t
 * @returns {string}
 */
export function piecesText(drawer, t) {
  const states = ["placed", "printed", "spare", "retired"].filter((state) => (drawer.pieces[state] ?? 0) > 0);
  if (!drawer.layout && !states.length) return t("not_laid_out");
  return states.length ? states.map((state) => t(`pieces_${state}`, { count: drawer.pieces[state] ?? 0 })).join(", ") : t("no_pieces");
}

/**
 * Return the rows of a drawer's contents: places of trays in their order, with what lies there.
 * @param {{places: {kind: string, mark: string, name: string, piece: string | null, items: {name: string, thing: string | null, count: number}[]}[]}} contents
 * @param {string | null} thing
 * @returns {{mark: string, name: string, items: string, placed: boolean, marked: boolean}[]}
 */
export function contentRows(contents, thing) {
  return contents.places.filter((place) => place.kind === "tray").map((place) => ({
    mark: place.mark,
    name: place.name,
    items: place.items.map((item) => `${item.count} × ${item.name}`).join(", "),
    placed: place.piece !== null,
    marked: thing !== null && place.items.some((item) => item.thing === thing),
  }));
}
