// Rows of lots, ingredients and targets: copies of the page's templates with labels, hints and faults tied to fields.

import { byId, h } from "./dom.js";
import { propertyOf, TARGETS } from "./words.js";

let made = 0;

/** The fields within an element. @param {Element | Document} place @returns {any[]} */
export const fieldsOf = (place) => [...place.querySelectorAll("[data-name]")];

/** The field of a name within an element. @param {Element} place @param {string} name @returns {any} */
export const fieldOf = (place, name) => place.querySelector(`[data-name="${name}"]`);

/** Tie label, hint and field of every `.field` within an element together. @param {Element} place */
export function tie(place) {
  for (const box of place.querySelectorAll(".field")) {
    const field = box.querySelector("input, select, textarea");
    const label = box.querySelector("label");
    const hint = box.querySelector(".hint");
    if (!field || !label) continue;
    field.id ||= `field-${(made += 1)}`;
    label.htmlFor = field.id;
    if (hint) {
      hint.id ||= `${field.id}-hint`;
      field.setAttribute("aria-describedby", hint.id);
    }
  }
}

/** Which units the answers come in. @returns {"metric" | "us"} */
export function unitsChosen() {
  return /** @type {any} */ (document.querySelector('input[name="units"]:checked'))?.value ?? "metric";
}

/** Put the examples of the chosen units under the fields. @param {ParentNode} place */
export function showHints(place) {
  const units = unitsChosen();
  for (const hint of place.querySelectorAll(".hint[data-metric]")) hint.textContent = hint.getAttribute(`data-${units}`);
}

/** Say beside each folded part how many of its fields are filled in. @param {ParentNode} place */
export function countFilled(place) {
  for (const more of place.querySelectorAll("details")) {
    const fields = /** @type {any[]} */ ([...more.querySelectorAll("input, select")]);
    const count = fields.filter((f) => (f.type === "checkbox" ? f.checked : f.tagName === "SELECT" ? f.selectedIndex > 0 : f.value.trim())).length;
    const summary = more.querySelector("summary");
    summary?.querySelector(".count")?.remove();
    if (count) summary?.append(h("span", { class: "count" }, ` (${count} filled in)`));
  }
}

const KINDS = {
  lots: { template: "lot-row", word: "Lot", least: 1 },
  additions: { template: "addition-row", word: "Ingredient", least: 1 },
  targets: { template: "target-row", word: "Target", least: 1 },
};

/** @typedef {keyof typeof KINDS} RowKind */

/** The rows of a kind, in order. @param {RowKind} kind @returns {HTMLElement[]} */
export const rowsOf = (kind) => /** @type {HTMLElement[]} */ ([...byId(kind).querySelectorAll(".row")]);

/** Number the rows, and let none remove the last one. @param {RowKind} kind */
function numbered(kind) {
  const rows = rowsOf(kind);
  rows.forEach((row, k) => {
    const words = rows.length > 1 ? `${KINDS[kind].word} ${k + 1}` : KINDS[kind].word;
    const legend = row.querySelector("legend");
    if (legend) legend.textContent = words;
    const remove = /** @type {HTMLElement} */ (row.querySelector("[data-remove]"));
    remove.hidden = rows.length <= KINDS[kind].least;
    remove.setAttribute("aria-label", `Remove ${words.toLowerCase()}`);
  });
}

/**
 * Add a row.
 * @param {RowKind} kind
 * @returns {HTMLElement}
 */
export function addRow(kind) {
  const copy = byId(KINDS[kind].template).content.cloneNode(true);
  const row = /** @type {HTMLElement} */ (copy.querySelector(".row"));
  byId(kind).append(copy);
  if (kind === "targets") readyTarget(row);
  tie(row);
  showHints(row);
  row.querySelector("[data-remove]")?.addEventListener("click", () => removed(kind, row));
  numbered(kind);
  return row;
}

/** @param {RowKind} kind @param {HTMLElement} row */
function removed(kind, row) {
  const rows = rowsOf(kind);
  const next = rows[rows.indexOf(row) + 1] ?? rows[rows.indexOf(row) - 1];
  row.remove();
  numbered(kind);
  /** @type {any} */ (next?.querySelector("input, select"))?.focus();
  byId("request").dispatchEvent(new Event("input", { bubbles: true }));
}

/** Leave so many empty rows. @param {RowKind} kind @param {number} count */
export function onlyRows(kind, count) {
  byId(kind).replaceChildren();
  for (let k = 0; k < count; k += 1) addRow(kind);
}

/** @param {HTMLElement} row */
function readyTarget(row) {
  const property = fieldOf(row, "property");
  property.append(...TARGETS.map((p) => h("option", { value: p.name }, p.words)));
  const shownFor = () => showTarget(row);
  property.addEventListener("change", shownFor);
  fieldOf(row, "how").addEventListener("change", shownFor);
  shownFor();
}

/** Show the fields and examples that a target's property and kind call for. @param {HTMLElement} row */
export function showTarget(row) {
  const how = fieldOf(row, "how").value;
  const property = propertyOf(fieldOf(row, "property").value);
  for (const box of row.querySelectorAll("[data-for]")) {
    const box_ = /** @type {HTMLElement} */ (box);
    box_.hidden = !(box_.dataset.for ?? "").split(" ").includes(how);
    const field = /** @type {any} */ (box_.querySelector("[data-name]"));
    const hint = /** @type {HTMLElement} */ (box_.querySelector(".hint"));
    if (property && field && hint) {
      const near = field.dataset.name === "tolerance";
      hint.dataset.metric = near ? property.near : property.metric;
      hint.dataset.us = near ? property.near : property.us;
      field.inputMode = property.text ? "text" : "decimal";
    }
  }
  showHints(row);
}
