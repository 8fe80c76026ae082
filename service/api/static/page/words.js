// What the properties of a drink are called here, how they are written, and how numbers are shown.

/**
 * @typedef {object} Property
 * @property {string} name as the service calls it
 * @property {string} words
 * @property {number} decimals
 * @property {boolean} text whether a target is written with its unit
 * @property {string} metric an example
 * @property {string} us
 * @property {string} near an example of a tolerance
 */

/** @type {(name: string, words: string, decimals: number, text: boolean, metric: string, us: string, near: string) => Property} */
const property = (name, words, decimals, text, metric, us, near) => ({ name, words, decimals, text, metric, us, near });

/** @type {Property[]} */
export const PROPERTIES = [
  property("gravity", "gravity", 4, false, "SG, such as 1.012", "SG, such as 1.012", "SG, such as 0.001"),
  property("abv_percent", "strength", 1, false, "% vol, such as 6.5", "% vol, such as 6.5", "% vol, such as 0.2"),
  property("titratable_acidity", "acidity", 1, true, "such as 7 g/L tartaric", "such as 0.7 % tartaric", "such as 0.3 g/L tartaric"),
  property("ph", "pH", 2, false, "such as 3.3", "such as 3.3", "such as 0.1"),
  property("volume", "volume", 2, true, "such as 30 L", "such as 6 gal", "such as 0.5 L"),
  property("citrus_percent", "citrus juice", 1, false, "%, such as 10", "%, such as 10", "%, such as 1"),
  property("juice_percent", "juice of all kinds", 1, false, "%, such as 15", "%, such as 15", "%, such as 1"),
  property("sucrose_equivalent_g_per_l", "sweetness, as sucrose", 1, false, "g/L, such as 35", "g/L, such as 35", "g/L, such as 2"),
  property("sugar_g_per_l", "sugar", 1, false, "g/L, such as 35", "g/L, such as 35", "g/L, such as 2"),
  property("fermentable_sugar_g_per_l", "sugar that yeast can use", 1, false, "g/L, such as 30", "g/L, such as 30", "g/L, such as 2"),
  property("extract_g_per_l", "dry extract", 1, false, "g/L, such as 55", "g/L, such as 55", "g/L, such as 2"),
  property("brix", "Brix of the drink", 1, false, "°Bx, such as 5.5", "°Bx, such as 5.5", "°Bx, such as 0.3"),
  property("sugar_acid_ratio", "ratio of Brix to acid", 1, false, "such as 10", "such as 10", "such as 0.5"),
  property("added_mass", "mass of what is added", 0, true, "such as 6 kg", "such as 13 lb", "such as 200 g"),
  property("added_volume", "volume of what is added", 2, true, "such as 6 L", "such as 1.5 gal", "such as 0.2 L"),
  property("cost", "cost of what is added", 2, false, "in your currency, such as 12", "in your currency, such as 12", "such as 1"),
  property("energy_kcal_per_100ml", "energy", 0, false, "kcal/100 mL, such as 50", "kcal/100 mL, such as 50", "such as 3"),
];

/** What may be wanted: every property, and what is left after losses. @type {Property[]} */
export const TARGETS = [...PROPERTIES, property("packaged_volume", "volume left to fill", 2, true, "such as 20 L", "such as 5 gal", "such as 0.5 L")];

const BY_NAME = new Map(TARGETS.map((p) => [p.name, p]));

/** @param {string} name @returns {Property | undefined} */
export const propertyOf = (name) => BY_NAME.get(name);

/** @param {string} name */
export const propertyWords = (name) => BY_NAME.get(name)?.words ?? name.replaceAll("_", " ");

/** Wishes where there is room to choose, by the words of a request. @type {[string, string][]} */
export const PREFERENCES = [
  ["", "add as little as will do"],
  ["maximise citrus_percent", "the most citrus juice"],
  ["maximise juice_percent", "the most juice of all kinds"],
  ["minimise cost", "the least cost"],
  ["maximise volume", "the most drink"],
  ["minimise abv_percent", "the least strength"],
  ["maximise abv_percent", "the most strength"],
  ["minimise sugar_g_per_l", "the least sugar"],
  ["minimise energy_kcal_per_100ml", "the least energy"],
  ["minimise added_volume", "the least volume added"],
];

/** What a curve may seek the best of, by the words of a request. @type {[string, string][]} */
export const BEST_OF = [
  ["maximise citrus_percent", "citrus juice: the most"],
  ["maximise juice_percent", "juice of all kinds: the most"],
  ["minimise cost", "cost: the least"],
  ["maximise volume", "volume: the most"],
  ["minimise volume", "volume: the least"],
  ["maximise abv_percent", "strength: the most"],
  ["minimise abv_percent", "strength: the least"],
  ["maximise sucrose_equivalent_g_per_l", "sweetness: the most"],
  ["minimise sucrose_equivalent_g_per_l", "sweetness: the least"],
  ["maximise titratable_acidity", "acidity: the most"],
  ["minimise added_mass", "mass added: the least"],
];

/** Properties that move together with the sugar; a curve over one of them lets go of targets on the others. */
export const SWEET = new Set(["gravity", "extract_g_per_l", "sugar_g_per_l", "fermentable_sugar_g_per_l", "sucrose_equivalent_g_per_l", "brix", "sugar_acid_ratio"]);

/** Properties that move together with the acid. */
export const SOUR = new Set(["titratable_acidity", "ph", "sugar_acid_ratio"]);

/** A number with so many decimals, a true minus, and no bare zeros lost. @param {number} value @param {number} decimals */
export function shown(value, decimals) {
  const text = Math.abs(value).toFixed(decimals);
  return value < 0 && Number(text) !== 0 ? `−${text}` : text;
}

/** A number without needless zeros. @param {number} value @param {number} decimals at most */
export const plain = (value, decimals) => shown(value, decimals).replace(/(\.\d*?)0+$/, "$1").replace(/\.$/, "");

// NIST Handbook 44, Appendix C
const US = /** @type {Record<string, {unit: string, by: number}>} */ ({
  L: { unit: "gal", by: 3.785411784 },
  g: { unit: "lb", by: 453.59237 },
  kg: { unit: "lb", by: 0.45359237 },
});

/**
 * The unit that a property is shown in, and what its values are divided by for it.
 * @param {string} name
 * @param {string} unit of the values
 * @param {string} units of the answer
 */
export function unitShown(name, unit, units) {
  const us = units === "us" ? US[unit] : undefined;
  return us ? { ...us, decimals: 2 } : { unit: unit === "pH" ? "" : unit, by: 1, decimals: propertyOf(name)?.decimals ?? 1 };
}

/**
 * A prediction in words: value, interval and unit, in gallons and pounds where the answer is in US units.
 * @param {string} name
 * @param {{value: number, low: number, high: number, unit: string}} predicted
 * @param {string} units
 */
export function predictionWords(name, predicted, units) {
  const { unit, by, decimals } = unitShown(name, predicted.unit, units);
  const number = (/** @type {number} */ v) => shown(v / by, decimals);
  return { value: number(predicted.value), low: number(predicted.low), high: number(predicted.high), unit };
}

/** Hours as one says them. @param {number} hours */
export function hoursWords(hours) {
  if (hours <= 0) return "";
  return hours >= 48 && hours % 24 === 0 ? `${hours / 24} days` : hours === 1 ? "1 hour" : `${plain(hours, 1)} hours`;
}

/** The source of a step or caution as one says it. @param {string} id @param {Map<string, string>} titles of sources by key */
export const sourceWords = (id, titles) => (id === "common_practice" ? "common practice" : id === "our_default" ? "our choice" : (titles.get(id) ?? id.replaceAll("_", " ")));
