// DOM helpers: create elements, replace content, announce to screen readers, open dialogs.

const SVG = "http://www.w3.org/2000/svg";

function fill(node, attributes, children) {
  for (const [name, value] of Object.entries(attributes ?? {})) {
    if (value === null || value === undefined || value === false) continue;
    if (name.startsWith("on")) node.addEventListener(name.slice(2), value);
    else if (name === "value" || name === "checked" || name === "disabled" || name === "hidden") node[name] = value;
    else node.setAttribute(name, value === true ? "" : String(value));
  }
  for (const child of children.flat(Infinity)) {
    if (child !== null && child !== undefined && child !== false) node.append(child);
  }
  return node;
}

/** Create an HTML element. Strings become text nodes, never markup. */
export const h = (tag, attributes, ...children) => fill(document.createElement(tag), attributes, children);

/** Create an SVG element. */
export const s = (tag, attributes, ...children) => fill(document.createElementNS(SVG, tag), attributes, children);

export const byId = (id) => document.getElementById(id);

/** Announce a text to screen readers through the live region. */
export function announce(text) {
  const node = byId("spoken");
  node.textContent = "";
  window.setTimeout(() => { node.textContent = text; }, 30);
}

/** Replace a node's children; the focus moves to the new element with the id of the focused one. */
export function show(node, ...children) {
  const id = node.contains(document.activeElement) ? document.activeElement.id : "";
  node.replaceChildren(...children.flat(Infinity).filter((child) => child !== null && child !== undefined && child !== false));
  if (id) byId(id)?.focus({ preventScroll: true });
}

/** Create a button. */
export const button = (text, onclick, attributes = {}) => h("button", { type: "button", onclick, ...attributes }, text);

/** Open a modal dialog; resolve to the value of the button that closed it, or to "". */
export function openDialog(title, body, choices) {
  const dialog = byId("dialog");
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
