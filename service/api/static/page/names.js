// Names of the catalogue, and the words of this page for what the service calls by the names of its fields.

import { propertyOf, propertyWords } from "./words.js";

/** Names of ingredients by id, as the catalogue shows them. @type {Map<string, string>} */
export const nameOfId = new Map();

/** Names of ingredients as the catalogue shows them, to ids. @type {Map<string, string>} */
export const idOfName = new Map();

/** Fields of a request and words of its lists, as this page calls them. @type {Record<string, string>} */
const FIELDS = {
  packaged_volume: "volume left to fill",
  ph: "pH",
  original_gravity: "original gravity",
  residual_sugar: "sugar left",
  titration_end_point_ph: "pH titrated to",
  sample_temperature: "temperature of the sample",
  calibrated_at: "temperature on the hydrometer",
  on_lees: "on its lees",
  max_packs: "packs, at most",
  half_packs: "half packs too",
  storage_temperature: "warmest storage",
  vessel: "what the mixing vessel holds",
  dead_volume: "what pipes and vessels keep",
  settling: "what settles",
  racking: "what is left in racking",
  samples: "what is taken as samples",
  jar_test: "jar test",
  hold_back: "what is held back",
  start_date: "day of the start",
  fruit_count: "pieces of fruit",
  ph_meter: "pH meter",
  class: "kind",
  rounding: "rounding to what is shown by",
  prefer: "preferred",
  priority: "rank",
  tolerance: "give or take",
  min: "at least",
  max: "at most",
  amount: "exactly",
  pack: "one pack holds",
  brix: "Brix",
  grape_wine: "grape wine",
  fruit_wine: "fruit wine",
  cider_perry: "cider or perry",
  citrus_juice: "citrus juice",
  berry_juice: "berry juice",
  sterile_filtered: "sterile filtered",
};

/** A field of a request as the page calls it. @param {string} name */
export const fieldWords = (name) => (propertyOf(name) ? propertyWords(name) : (FIELDS[name] ?? nameOfId.get(name) ?? name.replaceAll("_", " ")));

/** An ingredient or lot as one calls it. @param {string} name */
export const calledName = (name) => nameOfId.get(name) ?? nameOfId.get(name.replace(/ \d+$/, "")) ?? name;

/** What says how a request is written, said of a form instead. @type {[RegExp, string][]} */
const SAID_OF_A_FORM = [
  [/,? without quotes/g, ""],
  [/ in quotes(?= with)/g, ""],
  [/\(“class”\)/g, "(“Kind”, under “More readings”)"],
  [/\bthe class of the lot\b/g, "the kind of the lot"],
  [/: class$/g, ": kind"],
  [/: max$/g, ": the most that may go in"],
  [/: min$/g, ": the least that has to go in"],
  [/: ph$/g, ": pH"],
  [/\bWrite ph as a number \(pH\)/g, "Write the pH as a number"],
  [/\bThe min is above the max\b/g, "“At least” is above “at most”"],
  [/\bwhat your own (shows|instruments err by)\b/g, "what your own $1, under “How well I measure”"],
  [/\breplaceable by yours\b/g, "which a script can replace by its own"],
  [/\bgive the most there is \(max\)/g, "say at most how much"],
  [/ \((?:[a-z]+(?:_[a-z]+)+|ph|max|min|class)\)/g, ""],
  [/\bchoose another x or y\b/g, "choose another for one of the two"],
  [/^(Say what a pack holds): “pack”, /g, "$1, "],
];

/** A key of the bibliography as one says it: `crane_1980` is Crane 1980. @param {string} key */
const keyWords = (key) =>
  key
    .split("_")
    .map((part) => (/^(usda|sr\d+|ifct|nist|cfr\d*|eu|oiv|aijn)$/.test(part) ? part.toUpperCase() : part[0].toUpperCase() + part.slice(1)))
    .join(" ");

/** Whether a word with underscores is a key of the bibliography: author and year, or a table with its row. @param {string} word */
const isKey = (word) => /_(19|20)\d\d$|^usda_/.test(word);

/**
 * A sentence of the service in the words of the page: ids of the catalogue by name, fields as they are labelled.
 * @param {string} text
 */
export const inNames = (text) =>
  SAID_OF_A_FORM.reduce((said, [pattern, words]) => said.replace(pattern, words), text)
    .replace(/\b([a-z]+(?:_[a-z0-9]+)+)(?::(\w+))?\b/g, (all, id, row) => {
      if (nameOfId.has(id)) return all.replace(id, /** @type {string} */ (nameOfId.get(id)));
      if (isKey(id)) return row ? `${keyWords(id)} (${row.replaceAll("_", " ")})` : keyWords(id);
      return propertyOf(id) || FIELDS[id] ? all.replace(id, fieldWords(id)) : all;
    })
    .replaceAll("`", "");
