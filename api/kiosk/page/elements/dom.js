// DOM helpers: create elements, replace content, announce to screen readers, open dialogs.

const SVG = "http://www.w3.org/2000/svg";

/** @typedef {Node | string | number | null | undefined | false} Leaf */
/** @typedef {Leaf | Leaf[] | Leaf[][] | Leaf[][][]} Child */
/** @typedef {Record<string, any>} Attributes */

/**
 * @param {any} child
 * @returns {child is Node | string | number}
 */
const isShown = (child) => child !== null && child !== undefined && child !== false;

/**
 * @template {HTMLElement | SVGElement} T
 * @param {T} node
 * @param {Attributes | null | undefined} attributes
 * @param {Child[]} children
 * @returns {T}
 */
function fill(node, attributes, children) {
  for (const [key, value] of Object.entries(attributes ?? {})) {
    if (value === null || value === undefined || value === false) continue;
    if (key.startsWith("on")) node.addEventListener(key.slice(2), value);
    else if (key === "value" || key === "checked" || key === "disabled" || key === "hidden") Object.assign(node, { [key]: value });
    else node.setAttribute(key, value === true ? "" : String(value));
  }
  for (const child of children.flat(Infinity)) if (isShown(child)) node.append(/** @type {Node | string} */ (child));
  return node;
}

/**
 * Create an HTML element. Strings become text nodes, never markup.
 * @template {keyof HTMLElementTagNameMap} K
 * @param {K} tag
 * @param {Attributes | null} [attributes]
 * @param {...Child} children
 */
export const h = (tag, attributes, ...children) => fill(document.createElement(tag), attributes, children);

/**
 * Create an SVG element.
 * @param {string} tag
 * @param {Attributes | null} [attributes]
 * @param {...Child} children
 */
export const s = (tag, attributes, ...children) => fill(/** @type {SVGElement} */ (document.createElementNS(SVG, tag)), attributes, children);

/**
 * @param {string} id
 * @returns {HTMLElement | null}
 */
export const find = (id) => document.getElementById(id);

/**
 * Return an element of the page that is always there.
 * @param {string} id
 * @returns {HTMLElement}
 */
export function byId(id) {
  const node = find(id);
  if (!node) throw new Error(`No element: ${id}`);
  return node;
}

/**
 * Announce a text to screen readers through the live region.
 * @param {string} text
 */
export function announce(text) {
  const node = byId("spoken");
  node.textContent = "";
  window.setTimeout(() => { node.textContent = text; }, 30);
}

/**
 * Replace a node's children; the focus moves to the new element with the id of the focused one.
 * @param {HTMLElement} node
 * @param {...Child} children
 */
export function show(node, ...children) {
  const id = node.contains(document.activeElement) ? document.activeElement?.id : "";
  node.replaceChildren(.../** @type {(Node | string)[]} */ (children.flat(Infinity).filter(isShown)));
  if (id) find(id)?.focus({ preventScroll: true });
}

/**
 * Create a button.
 * @param {Child} text
 * @param {(event: Event) => void} onclick
 * @param {Attributes} [attributes]
 */
export const button = (text, onclick, attributes = {}) => h("button", { type: "button", onclick, ...attributes }, text);

/**
 * Open a modal dialog; resolve to the value of the button that closed it, or to "".
 * @param {string} title
 * @param {Child} body
 * @param {[value: string, text: string, kind?: string][]} choices
 * @returns {Promise<string>}
 */
export function openDialog(title, body, choices) {
  const dialog = /** @type {HTMLDialogElement} */ (byId("dialog"));
  return new Promise((resolve) => {
    dialog.replaceChildren(
      h("h2", { id: "dialog-title" }, title),
      h("div", { class: "dialog-body" }, body),
      h("div", { class: "choices" }, choices.map(([value, text, kind]) =>
        button(text, () => dialog.close(value), { class: kind ?? "" }))),
    );
    dialog.addEventListener("close", () => resolve(dialog.returnValue), { once: true });
    dialog.returnValue = "";
    dialog.showModal();
  });
}
