// From the form to a request: what was typed, as the service reads it, and which field stands behind which place of it.

import { byId } from "./dom.js";
import { fieldOf, fieldsOf, rowsOf, unitsChosen } from "./rows.js";
import { propertyOf } from "./words.js";

/**
 * @typedef {object} Read
 * @property {any} request
 * @property {Map<string, HTMLElement>} places the field of each JSON pointer
 * @property {{field: HTMLElement, detail: string}[]} faults what no request can be made of
 */

const NUMBER = /^[+-]?(\d+\.?\d*|\.\d+)$/;
const COMMA = /^[+-]?\d+,\d+$/;

/** Names of ingredients as the catalogue shows them, to ids. @type {Map<string, string>} */
export const idOfName = new Map();

/** @param {string} text @returns {number | string} */
const numberOrText = (text) => (NUMBER.test(text) ? Number(text) : text);

/** @param {any} body @param {string} path such as `measured.brix` @param {any} value */
function put(body, path, value) {
  const parts = path.split(".");
  const last = /** @type {string} */ (parts.pop());
  let here = body;
  for (const part of parts) here = here[part] ??= {};
  here[last] = value;
}

/**
 * Read the fields of a place into a body.
 * @param {Element} place
 * @param {string} pointer where the body stands in the request
 * @param {Read} read
 */
function bodyOf(place, pointer, read) {
  const body = {};
  for (const field of fieldsOf(place)) {
    const path = field.dataset.name;
    const text = field.value.trim();
    read.places.set(`${pointer}/${path.replaceAll(".", "/")}`, field);
    if (!text) {
      if (field.dataset.needed) read.faults.push({ field, detail: field.dataset.needed });
      continue;
    }
    const kind = field.dataset.kind;
    if (kind === "number" || kind === "gravity") {
      if (COMMA.test(text)) read.faults.push({ field, detail: `Write a decimal point: ${text.replace(",", ".")}.` });
      else if (kind === "number" && !NUMBER.test(text)) read.faults.push({ field, detail: "Write a number alone, without its unit." });
      put(body, path, numberOrText(text));
    } else if (kind === "truth") put(body, path, text === "yes");
    else if (kind === "ingredient") put(body, path, idOfName.get(text.toLowerCase()) ?? text);
    else put(body, path, text);
  }
  return body;
}

/** @param {HTMLElement} row @param {number} k @param {Read} read */
function lotOf(row, k, read) {
  const temperatures = ["gravity.sample_temperature", "gravity.calibrated_at"].map((n) => fieldOf(row, n));
  const corrected = temperatures.some((f) => f.value.trim());
  const gravity = fieldOf(row, "gravity");
  if (corrected) gravity.dataset.name = "gravity.reading"; // read as one object, named back below
  const body = /** @type {any} */ (bodyOf(row, `/lots/${k}`, read));
  gravity.dataset.name = "gravity";
  read.places.set(`/lots/${k}/gravity`, gravity);
  const strength = fieldOf(row, "abv_percent");
  if (body.abv_percent === undefined && body.original_gravity === undefined)
    read.faults.push({ field: strength, detail: "Write the strength, or the original gravity beside it." });
  body.name ??= k === 0 ? "base" : `lot ${k + 1}`;
  return body;
}

/** Whether anything stands in a row. @param {Element} row */
const touched = (row) => fieldsOf(row).some((f) => f.tagName === "INPUT" && f.value.trim());

/** @param {Read} read */
function additionsOf(read) {
  const additions = [];
  for (const row of rowsOf("additions")) {
    if (!touched(row)) continue;
    const body = /** @type {any} */ (bodyOf(row, `/additions/${additions.length}`, read));
    if (!body.ingredient) read.faults.push({ field: fieldOf(row, "ingredient"), detail: "Name the ingredient that these limits are for." });
    additions.push(body);
  }
  if (!additions.length) read.faults.push({ field: fieldOf(rowsOf("additions")[0], "ingredient"), detail: "Name something that may go in, such as honey." });
  return additions;
}

/** @param {Read} read */
function targetsOf(read) {
  /** @type {Record<string, any>} */
  const targets = {};
  for (const row of rowsOf("targets")) {
    const [name, how] = [fieldOf(row, "property").value, fieldOf(row, "how").value];
    const asText = propertyOf(name)?.text ?? true;
    /** @type {Record<string, any>} */
    const told = {};
    const used = { exact: ["value"], near: ["value", "tolerance"], range: ["min", "max"] }[/** @type {"exact" | "near" | "range"} */ (how)];
    for (const part of used) {
      const field = fieldOf(row, part);
      const text = field.value.trim();
      read.places.set(`/targets/${name}/${part}`, field);
      if (!text) continue;
      if (!asText && COMMA.test(text)) read.faults.push({ field, detail: `Write a decimal point: ${text.replace(",", ".")}.` });
      told[part] = asText ? text : numberOrText(text);
    }
    if (!Object.keys(told).length) continue;
    const first = fieldOf(row, used[0]);
    if (name in targets) read.faults.push({ field: fieldOf(row, "property"), detail: "This property has a line already: put both into one, with “between”." });
    if (how === "near" && told.value === undefined) read.faults.push({ field: first, detail: "Write the value that it should be about." });
    read.places.set(`/targets/${name}`, first);
    const priority = fieldOf(row, "priority").value;
    read.places.set(`/targets/${name}/priority`, fieldOf(row, "priority"));
    targets[name] = how === "exact" && !priority ? told.value : { ...told, ...(priority ? { priority: Number(priority) } : {}) };
  }
  const first = rowsOf("targets")[0];
  const empty = fieldOf(first, fieldOf(first, "how").value === "range" ? "min" : "value");
  read.places.set("/targets", empty);
  if (!Object.keys(targets).length) read.faults.push({ field: empty, detail: "Write at least one thing that you want, such as a gravity of 1.012." });
  return targets;
}

/** Read the form. @returns {Read} */
export function readForm() {
  /** @type {Read} */
  const read = { request: {}, places: new Map(), faults: [] };
  const common = ["batch", "date", "currency"].map((name) => [name, byId(name)]);
  for (const [name, field] of common) {
    read.places.set(`/${name}`, field);
    if (field.value.trim()) read.request[name] = field.value.trim();
  }
  read.request.units = unitsChosen();
  read.request.lots = rowsOf("lots").map((row, k) => lotOf(row, k, read));
  read.request.additions = additionsOf(read);
  read.request.targets = targetsOf(read);
  const [wish, what] = byId("prefer").value.split(" ");
  read.places.set("/prefer", byId("prefer"));
  if (what) read.request.prefer = [{ [wish]: what }];
  Object.assign(read.request, bodyOf(byId("intended"), "", read));
  const hurdles = [...byId("hurdles").querySelectorAll("input:checked")].map((box) => box.value);
  read.places.set("/intended/hurdles", byId("hurdles").querySelector("input"));
  if (hurdles.length) (read.request.intended ??= {}).hurdles = hurdles;
  Object.assign(read.request, bodyOf(byId("instruments"), "", read));
  return read;
}
