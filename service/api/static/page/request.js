// From the form to a request: what was typed, as the service reads it, and which field stands behind which place of it.

import { byId } from "./dom.js";
import { idOfName } from "./names.js";
import { fieldOf, fieldsOf, rowsOf, unitsChosen } from "./rows.js";
import { propertyOf } from "./words.js";

/**
 * @typedef {object} Read
 * @property {any} request
 * @property {Map<string, HTMLElement>} places the field of each JSON pointer
 * @property {{field: HTMLElement, detail: string}[]} faults what no request can be made of
 * @property {[string, any][]} instead what stands in for what is at fault, so that the rest can be looked at meanwhile
 */

const NUMBER = /^[+-]?(\d+\.?\d*|\.\d+)$/;
const COMMA = /^[+-]?\d+,\d+$/;

/** @param {string} text @returns {number | string} */
const numberOrText = (text) => (NUMBER.test(text) ? Number(text) : text);

/** What stands in for a field that a request cannot do without. @type {Record<string, any>} */
const STAND_INS = { volume: "10 L", gravity: 1, abv_percent: 8 };

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
    const instead = (/** @type {any} */ value) => read.instead.push([`${pointer}/${path.replaceAll(".", "/")}`, value]);
    if (!text) {
      if (!field.dataset.needed) continue;
      read.faults.push({ field, detail: field.dataset.needed });
      instead(STAND_INS[path]);
      continue;
    }
    const kind = field.dataset.kind;
    if (kind === "number" || kind === "gravity") {
      put(body, path, numberOrText(text));
      if (COMMA.test(text)) {
        read.faults.push({ field, detail: `Write a decimal point: ${text.replace(",", ".")}.` });
        instead(Number(text.replace(",", ".")));
      } else if (kind === "number" && !NUMBER.test(text)) {
        read.faults.push({ field, detail: "Write a number alone, without its unit." });
        instead(STAND_INS[path]);
      }
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
  if (body.abv_percent === undefined && body.original_gravity === undefined) {
    read.faults.push({ field: strength, detail: "Write the strength, or the original gravity beside it." });
    read.instead.push([`/lots/${k}/abv_percent`, STAND_INS.abv_percent]);
  }
  body.name ??= k === 0 ? "base" : `lot ${k + 1}`;
  return body;
}

/** Whether anything stands in a row. @param {Element} row */
const touched = (row) => fieldsOf(row).some((f) => f.tagName === "INPUT" && f.value.trim());

/** @param {Read} read */
function additionsOf(read) {
  const additions = [];
  const known = new Set();
  for (const row of rowsOf("additions")) {
    if (!touched(row)) continue;
    const body = /** @type {any} */ (bodyOf(row, `/additions/${additions.length}`, read));
    const { min: _n, max: _x, amount: _a, ...what } = body;
    const same = JSON.stringify(what);
    if (!body.ingredient) {
      read.faults.push({ field: fieldOf(row, "ingredient"), detail: "Name the ingredient that these limits are for." });
      read.instead.push([`/additions/${additions.length}/ingredient`, "water_deionised"]);
    } else if (known.has(same)) read.faults.push({ field: fieldOf(row, "ingredient"), detail: "This ingredient has a line already: put both into one. Two lots of it may stand beside each other where pack, price or readings differ." });
    known.add(same);
    additions.push(body);
  }
  if (!additions.length) {
    read.faults.push({ field: fieldOf(rowsOf("additions")[0], "ingredient"), detail: "Name something that may go in, such as honey." });
    read.instead.push(["/additions", [{ ingredient: "water_deionised" }]]);
  }
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
      if (!asText && COMMA.test(text)) {
        read.faults.push({ field, detail: `Write a decimal point: ${text.replace(",", ".")}.` });
        read.instead.push([`/targets/${name}${how === "exact" && !fieldOf(row, "priority").value ? "" : `/${part}`}`, Number(text.replace(",", "."))]);
      }
      told[part] = asText ? text : numberOrText(text);
    }
    if (!Object.keys(told).length) continue;
    const first = fieldOf(row, used[0]);
    if (name in targets) read.faults.push({ field: fieldOf(row, "property"), detail: "This property has a line already: put both into one, with “between”." });
    if (how === "near" && told.value === undefined) {
      read.faults.push({ field: first, detail: "Write the value that it should be about." });
      read.instead.push([`/targets/${name}`, undefined]);
    }
    if (how === "near" && told.tolerance === undefined) read.faults.push({ field: fieldOf(row, "tolerance"), detail: "Write how far off it may be, such as a tenth of a point of pH or 0.3 g/L; or choose “exactly”." });
    read.places.set(`/targets/${name}`, first);
    const priority = fieldOf(row, "priority").value;
    read.places.set(`/targets/${name}/priority`, fieldOf(row, "priority"));
    targets[name] = how === "exact" && !priority ? told.value : { ...told, ...(priority ? { priority: Number(priority) } : {}) };
  }
  const first = rowsOf("targets")[0];
  const empty = fieldOf(first, fieldOf(first, "how").value === "range" ? "min" : "value");
  read.places.set("/targets", empty);
  if (!Object.keys(targets).length) {
    read.faults.push({ field: empty, detail: "Write at least one thing that you want, such as a gravity of 1.012." });
    read.instead.push(["/targets", { gravity: 1 }]);
  }
  return targets;
}

/** Read the form. @returns {Read} */
export function readForm() {
  /** @type {Read} */
  const read = { request: {}, places: new Map(), faults: [], instead: [] };
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
  Object.assign(read.request, bodyOf(byId("losses"), "", read));
  if (read.request.targets.packaged_volume !== undefined && !read.request.losses) {
    read.faults.push({ field: fieldOf(byId("losses"), "losses.settling"), detail: "Write what is lost before filling, such as 5 % that settles; or ask for the volume instead." });
    read.instead.push(["/losses", { settling: "5 %" }]);
  }
  return read;
}

/**
 * The request with something in place of what is at fault, to have the rest looked at; null where little else is told.
 * @param {Read} read
 */
export function standIn(read) {
  const { lots, additions, targets } = read.request;
  if (!additions.length && !Object.keys(targets).length && lots.every((/** @type {any} */ lot) => Object.keys(lot).length < 2)) return null;
  const request = structuredClone(read.request);
  for (const [pointer, value] of read.instead) put(request, pointer.slice(1).replaceAll("/", "."), value);
  for (const [name, target] of Object.entries(request.targets)) if (target === undefined) delete request.targets[name];
  if (!Object.keys(request.targets).length) request.targets = { gravity: 1 };
  return request;
}

// What hangs together with a figure that something stands in for.
const BESIDE = /^\/lots\/\d+(\/(gravity|abv_percent|original_gravity|residual_sugar|use))?$|^\/?$/;

/**
 * Whether a fault found in `standIn` is one of the form.
 * @param {Read} read
 * @param {{pointer: string}} fault
 */
export const holdsAnyway = (read, { pointer }) => !BESIDE.test(pointer) && !read.instead.some(([place]) => pointer === place || pointer.startsWith(`${place}/`));
