// From a request to the form: the demo batch, a bookmarked address, a way out of a clash.

import { byId } from "./dom.js";
import { leavesOf, leafWords, samePlace } from "./leaves.js";
import { idOfName, nameOfId } from "./names.js";
import { readForm } from "./request.js";
import { addRow, countFilled, fieldOf, fieldsOf, onlyRows, rowsOf, showHints, showTarget } from "./rows.js";

/** @param {any} body @param {string} path */
function found(body, path) {
  let here = body;
  for (const part of path.split(".")) {
    if (here === null || typeof here !== "object") return undefined;
    here = here[part];
  }
  return here;
}

/** @param {any} field @param {any} value */
function set(field, value) {
  if (value === undefined || value === null || typeof value === "object") field.value = field.tagName === "SELECT" ? field.options[0].value : "";
  else if (field.dataset.kind === "truth") field.value = value ? "yes" : field.querySelector('[value="no"]') ? "no" : "";
  else if (field.dataset.kind === "ingredient") field.value = nameOfId.get(value) ?? value;
  else field.value = String(value);
}

/** @param {Element} place @param {any} body */
function fillPlace(place, body) {
  for (const field of fieldsOf(place)) set(field, found(body, field.dataset.name));
}

/** @param {HTMLElement} row @param {string} name @param {any} target */
function fillTarget(row, name, target) {
  fieldOf(row, "property").value = name;
  const told = target !== null && typeof target === "object" ? target : { value: target };
  const how = "value" in told ? ("tolerance" in told ? "near" : "exact") : "range";
  fieldOf(row, "how").value = how;
  for (const part of ["value", "tolerance", "min", "max", "priority"]) set(fieldOf(row, part), told[part]);
  showTarget(row);
}

/** @param {any} list @returns {any[]} */
const listed = (list) => (Array.isArray(list) ? list : []);

/**
 * What of a request the form does not hold after it was filled with it, in words.
 * @param {any} request
 * @returns {string[]}
 */
function leftOut(request) {
  const held = new Map(leavesOf(readForm().request).map(({ path, value }) => [samePlace(path), String(value)]));
  const same = (/** @type {string} */ path, /** @type {any} */ value) => held.get(path) === String(value) || (value === false && path.endsWith(".half_packs")) || (value === "all" && path.endsWith(".use"));
  return leavesOf(request).filter(({ path, value }) => !same(samePlace(path), value)).map((leaf) => leafWords(leaf, request));
}

/**
 * Fill the form with a request.
 * @param {any} request
 * @returns {string[]} what the form has no field for, in words
 */
export function fillForm(request) {
  for (const name of ["batch", "date", "currency"]) set(byId(name), request[name]);
  const units = request.units === "us" ? "us" : "metric";
  /** @type {any} */ (document.querySelector(`input[name="units"][value="${units}"]`)).checked = true;
  const lots = listed(request.lots);
  onlyRows("lots", Math.max(1, lots.length));
  rowsOf("lots").forEach((row, k) => {
    fillPlace(row, lots[k] ?? {});
    const gravity = lots[k]?.gravity;
    if (gravity !== null && typeof gravity === "object") set(fieldOf(row, "gravity"), gravity.reading);
  });
  const additions = listed(request.additions);
  onlyRows("additions", Math.max(1, additions.length));
  rowsOf("additions").forEach((row, k) => fillPlace(row, additions[k] ?? {}));
  const targets = Object.entries(request.targets ?? {});
  onlyRows("targets", Math.max(1, targets.length));
  rowsOf("targets").forEach((row, k) => {
    if (targets[k]) fillTarget(row, ...targets[k]);
  });
  const [wish, what] = Object.entries(listed(request.prefer)[0] ?? {})[0] ?? ["", ""];
  const prefer = byId("prefer");
  prefer.value = `${wish} ${what}`.trim();
  if (prefer.selectedIndex < 0) prefer.selectedIndex = 0;
  fillPlace(byId("intended"), request);
  fillPlace(byId("instruments"), request);
  fillPlace(byId("losses"), request);
  if (!request.rounding) fieldOf(byId("instruments"), "rounding").value = "scale";
  const hurdles = listed(request.intended?.hurdles);
  for (const box of byId("hurdles").querySelectorAll("input")) box.checked = hurdles.includes(box.value);
  countFilled(byId("request"));
  showHints(byId("request"));
  return leftOut(request);
}

/** The row of an ingredient, by the name that the answer calls it. @param {string} name */
function rowOfIngredient(name) {
  return rowsOf("additions").find((row) => {
    const typed = fieldOf(row, "ingredient").value.trim();
    return typed === name || (idOfName.get(typed.toLowerCase()) ?? typed) === name;
  });
}

/** @param {string} name */
const rowOfLot = (name) => rowsOf("lots").find((row, k) => (fieldOf(row, "name").value.trim() || (k === 0 ? "base" : `lot ${k + 1}`)) === name);

/** @param {string} text @returns {number} */
const leading = (text) => Number.parseFloat(text);

/**
 * Take one way out of a clash into the form.
 * @param {{member: string, to: string, value: number, unit: string}} way
 * @param {any} target what the request asked of the member, if it is a property
 * @param {number | undefined} poured_g how much of the member the plan pours, if it is a lot
 * @returns {boolean} whether the form has a place for it
 */
export function takeWay(way, target, poured_g) {
  const [kind, ...rest] = way.member.split(" of ");
  const name = rest.join(" of ");
  if (!name) return takeTarget(way, target);
  const to = oneUnit(way.to);
  if (kind === "use") {
    const row = rowOfLot(name);
    if (!row) return false;
    const most = fieldOf(row, "use.max");
    if (most.value.trim()) most.value = to;
    else if (poured_g !== undefined && way.value < poured_g) most.value = to;
    else fieldOf(row, "volume").value = to;
    return true;
  }
  const row = rowOfIngredient(name);
  if (row && kind === "packs") {
    for (const field of ["pack", "max_packs", "half_packs"]) fieldOf(row, field).value = "";
    fieldOf(row, "max").value = to;
    return true;
  }
  const field = { stock: "max", least: "min", amount: "amount" }[kind];
  if (!row || !field) return false;
  const given = fieldOf(row, field);
  if (!given.value.trim()) return false;
  given.value = to;
  return true;
}

/** The first unit of an amount. @param {string} text */
const unitOf = (text) => /^[\d.,\s]+([A-Za-z% ]*)/.exec(text)?.[1].trim() ?? "";

/** An amount as a field takes it: of `7.9 gal (29.91 L)` the exact one. @param {string} text */
const oneUnit = (text) => /\(([^()]+)\)$/.exec(text)?.[1] ?? text;

/** @param {{member: string, to: string, value: number, unit: string}} way @param {any} target */
function takeTarget(way, target) {
  const row = rowsOf("targets").find((r) => fieldOf(r, "property").value === way.member);
  if (!row) return false;
  const asText = typeof (target?.value ?? target?.min ?? target?.max ?? target) === "string";
  const to = asText ? (/^\d[^()]*$/.test(way.to) ? way.to : `${way.value} ${way.unit}`) : String(way.value);
  if (fieldOf(row, "how").value !== "range") {
    fieldOf(row, "value").value = to;
    return true;
  }
  const [min, max] = [target.min, target.max].map((end) => (end === undefined ? undefined : leading(String(end))));
  const level = leading(unitOf(way.to) === unitOf(String(target.min ?? "")) ? way.to : to);
  const end = min !== undefined && (max === undefined || level < min) ? "min" : "max";
  fieldOf(row, end).value = to;
  return true;
}

/** Add an ingredient that would help. @param {string} id */
export function addIngredient(id) {
  const empty = rowsOf("additions").find((row) => !fieldOf(row, "ingredient").value.trim());
  set(fieldOf(empty ?? addRow("additions"), "ingredient"), id);
}
