// The leaves of a request, each by its place and in words: what a formula or the form does not carry is named.

import { fieldWords } from "./names.js";

/** @typedef {{path: string, value: any}} Leaf */

/** @param {any} value */
const isEmpty = (value) => value === null || value === undefined || value === "" || (typeof value === "object" && !Object.keys(value).length);

/** @param {any} value */
const isPlain = (value) => value === null || typeof value !== "object";

/**
 * Everything that a request says, leaf by leaf; a list of plain values is one leaf.
 * @param {any} body
 * @param {string} path
 * @returns {Leaf[]}
 */
export function leavesOf(body, path = "") {
  if (isEmpty(body)) return [];
  if (isPlain(body) || (Array.isArray(body) && body.every(isPlain))) return [{ path, value: Array.isArray(body) ? body.join(", ") : body }];
  return Object.entries(body).flatMap(([name, inside]) => leavesOf(inside, path ? `${path}.${name}` : name));
}

/** Places that say the same in another way. @param {string} path */
export const samePlace = (path) => path.replace(/^(lots\.\d+\.gravity)\.reading$/, "$1").replace(/^(targets\.[^.]+)\.value$/, "$1");

const ROWS = /** @type {Record<string, string>} */ ({ lots: "lot", additions: "ingredient" });

/** @param {string} value */
const valueWords = (value) => value.replace(/\b[a-z]+(?:_[a-z0-9]+)+\b/g, fieldWords);

/**
 * A leaf in words, such as `container: bottle`.
 * @param {Leaf} leaf
 * @param {any} request
 */
export function leafWords({ path, value }, request) {
  const parts = path.split(".");
  const own = ["batch", "name", "note"].includes(parts[parts.length - 1]); // words of whoever asks
  const said = typeof value === "boolean" ? (value ? "yes" : "no") : own ? value : valueWords(String(value));
  const [head, ...rest] = parts;
  if (head in ROWS) {
    const row = request[head].length > 1 ? `${ROWS[head]} ${Number(rest[0]) + 1}, ` : "";
    return `${row}${placeWords(rest.slice(1))}: ${said}`;
  }
  if (head === "prefer") return `preferred${Number(rest[0]) ? ` (${Number(rest[0]) + 1})` : ""}: ${fieldWords(rest[1] ?? "")} ${fieldWords(String(value))}`;
  if (head === "instruments" && rest[1] === "step") return `steps of the ${fieldWords(rest[0])}: ${said}`;
  if (head === "instruments" && rest[1] === "error") return `error of the ${fieldWords(rest[0])}: ${said}`;
  return `${placeWords(["intended", "instruments", "targets"].includes(head) ? rest : parts)}: ${said}`;
}

/** @param {string[]} parts */
const placeWords = (parts) => parts.map((part) => (/^\d+$/.test(part) ? String(Number(part) + 1) : fieldWords(part))).join(", ");
