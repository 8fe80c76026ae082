// Elements from words: data goes into textContent only, never into markup.

const SVG = "http://www.w3.org/2000/svg";

/** @typedef {string | number | Node | null | undefined | false} Child */

/**
 * Fill an element: attributes, listeners under `on`, children as nodes or texts.
 * @template {Element} T
 * @param {T} element
 * @param {Record<string, any>} attributes
 * @param {Child[]} children
 * @returns {T}
 */
function filled(element, attributes, children) {
  for (const [name, value] of Object.entries(attributes)) {
    if (name === "on") {
      for (const [event, heard] of Object.entries(value)) element.addEventListener(event, heard);
    } else if (value === true) {
      element.setAttribute(name, "");
    } else if (value !== false && value !== null && value !== undefined) {
      element.setAttribute(name, String(value));
    }
  }
  element.append(...children.filter((c) => c !== null && c !== undefined && c !== false).map((c) => (c instanceof Node ? c : String(c))));
  return element;
}

/** An element of the page. @param {string} tag @param {Record<string, any>} attributes @param {...Child} children */
export function h(tag, attributes = {}, ...children) {
  return filled(document.createElement(tag), attributes, children);
}

/** An element of a drawing. @param {string} tag @param {Record<string, any>} attributes @param {...Child} children */
export function s(tag, attributes = {}, ...children) {
  return filled(document.createElementNS(SVG, tag), attributes, children);
}

/** The element with an id, which the page has. @param {string} id @returns {any} */
export function byId(id) {
  const found = document.getElementById(id);
  if (!found) throw new Error(`the page has no ${id}`);
  return found;
}

/**
 * A table that a reader hears as one: caption, column heads, a row head in the first column.
 * @param {string} caption
 * @param {string[]} heads
 * @param {Child[][]} rows
 * @param {{className?: string, figures?: number[], showCaption?: boolean}} how figures: columns of numbers.
 */
export function table(caption, heads, rows, { className = "", figures = [], showCaption = true } = {}) {
  const kind = (/** @type {number} */ k) => (figures.includes(k) ? "figure" : null);
  const head = h("tr", {}, ...heads.map((text, k) => h("th", { scope: "col", class: kind(k) }, text)));
  const body = rows.map((cells) =>
    h(
      "tr",
      {},
      ...cells.map((cell, k) =>
        k === 0
          ? h("th", { scope: "row", "data-head": heads[k] }, cell)
          : h("td", { class: kind(k), "data-head": heads[k] }, cell),
      ),
    ),
  );
  return h(
    "table",
    { class: className || null },
    h("caption", { class: showCaption ? null : "unseen" }, caption),
    h("thead", {}, head),
    h("tbody", {}, ...body),
  );
}

/** Show a status sentence; it is read out. @param {Element} place @param {string} text */
export function tell(place, text) {
  place.textContent = text;
}
