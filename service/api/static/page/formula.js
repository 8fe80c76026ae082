// The request as a formula of a spreadsheet cell, where it is one lot, one ingredient and one figure wanted; else why not.

import { addressOf, fetched } from "./api.js";
import { leavesOf, leafWords, samePlace } from "./leaves.js";

const QUESTIONS = /** @type {Record<string, string>} */ ({
  gravity: "amount-for-gravity",
  titratable_acidity: "amount-for-acidity",
  ph: "amount-for-ph",
  abv_percent: "amount-for-abv",
  citrus_percent: "amount-for-citrus",
});

/** @type {Promise<any> | null} */
let listed = null;

/** The questions that a cell can ask here, by name; asked once. @returns {Promise<Map<string, any>>} */
async function questions() {
  listed ??= fetched("v1/cell").catch((error) => {
    listed = null;
    throw error;
  });
  return new Map((await listed).cells.map((/** @type {any} */ c) => [c.question, c]));
}

/** @param {any} request @returns {string | null} why a cell cannot ask it */
function tooMuch(request) {
  const targets = Object.entries(request.targets);
  if (request.lots.length > 1) return "A cell asks about one lot; this request has more.";
  if (request.additions.length !== 1) return "A cell asks how much of one ingredient; this request has more.";
  if (targets.length !== 1) return "A cell asks for one figure; this request has more targets.";
  const [name, target] = targets[0];
  if (!(name in QUESTIONS)) return "A cell can ask for a gravity, an acidity, a pH, a strength or a share of citrus juice; this target is another.";
  if (target !== null && typeof target === "object" && target.value === undefined) return "A cell asks for one value; this target is a range.";
  if (request.additions[0].amount) return "A cell asks how much; here the amount is given.";
  const [read, wanted] = [request.lots[0].titration_end_point_ph ?? 8.2, request.titration_end_point_ph ?? 8.2];
  if (name === "titratable_acidity" && read !== wanted) return "A cell reckons the acidity read and the one wanted to the same pH; this request names two.";
  return null;
}

const LOT = "lots.0.";
const ADDITION = "additions.0.";

/** Places of a request by the names of a cell's parameters, where the two differ. @type {Record<string, string>} */
const NAMED = {
  [`${LOT}gravity.sample_temperature`]: "sample_temperature",
  [`${LOT}gravity.calibrated_at`]: "calibrated_at",
  [`${ADDITION}measured.brix`]: "brix",
  [`${ADDITION}measured.moisture_percent`]: "moisture_percent",
  [`${ADDITION}measured.titratable_acidity`]: "ingredient_titratable_acidity",
  [`${ADDITION}measured.ph`]: "ingredient_ph",
  "instruments.hydrometer.error": "hydrometer_error",
};

/** The parameter of a cell that a place of the request goes into, if there may be one. @param {string} path */
function parameterOf(path) {
  if (path in NAMED) return NAMED[path];
  if (/^targets\.[^.]+$/.test(path)) return "target";
  return /^(?:lots\.0|additions\.0|intended)\.(?!name$)(\w+)$/.exec(path)?.[1] ?? null;
}

/** What a cell does or shows without being told. @param {string} path @param {any} value @param {any} request */
const needsNoTelling = (path, value, request) =>
  path === "units" ||
  (path === "rounding" && value === "none") ||
  (path === `${LOT}name` && value === "base") ||
  (path === "titration_end_point_ph" && value === request.lots[0].titration_end_point_ph);

/**
 * What of a request goes into the query of a cell, and the rest in words.
 * @param {any} request
 * @param {string[]} known the parameters of the question
 */
function told(request, known) {
  /** @type {Record<string, any>} */
  const query = {};
  const left = [];
  for (const leaf of leavesOf(request)) {
    const path = samePlace(leaf.path);
    const name = parameterOf(path);
    const yes = leaf.value === true && name === "half_packs" ? 1 : leaf.value;
    if (name && known.includes(name) && typeof yes !== "boolean") query[name] = yes;
    else if (!needsNoTelling(path, yes, request)) left.push(leafWords({ path, value: yes }, request));
  }
  return { query, left };
}

/** The unit that the ingredient was limited in, else grams or ounces. @param {any} request */
function unitOf(request) {
  const unit = /\d\s*(mg|g|kg|oz|lb|mL|L|hL|tsp|tbsp|cup|fl oz|pt|qt|gal)$/.exec(request.additions[0].max ?? "")?.[1];
  return unit ?? (request.units === "us" ? "oz" : "g");
}

// Excel takes no text of more than 255 characters within a formula, so that a long address is joined from pieces.
const PIECE = 200;

/** @param {string} url */
const literal = (url) => (url.match(new RegExp(`.{1,${PIECE}}`, "gs")) ?? [""]).map((piece) => `"${piece}"`).join("&");

const WRITTEN = /** @type {Record<string, {number: (url: string) => string, words: (url: string) => string}>} */ ({
  excel: { number: (url) => `=NUMBERVALUE(WEBSERVICE(${literal(url)}),".")`, words: (url) => `=WEBSERVICE(${literal(url)})` },
  libreoffice: { number: (url) => `=NUMBERVALUE(WEBSERVICE(${literal(url)});".")`, words: (url) => `=WEBSERVICE(${literal(url)})` },
  google_sheets: { number: (url) => `=IMPORTDATA(${literal(url)},",","en_US")`, words: (url) => `=IMPORTDATA(${literal(url)},CHAR(9))` },
});

/** Grams by which a formula may differ from a plan that is rounded to what a scale shows, and the same as a share. */
const ROUNDED = { g: 8, share: 0.03 };

/**
 * What a formula answers, if that is another amount than the plan's: it knows no limits and takes all of the lot.
 * @param {string} address of the number in grams, or in packs
 * @param {any} answer the plan
 */
async function unlike(address, answer) {
  const planned = answer.amounts.find((/** @type {any} */ a) => a.kind === "addition");
  const response = await fetch(address);
  if (!response.ok) return "has no number for it";
  const [found, mine] = [Number(await response.text()), planned.packs ?? planned.mass_g];
  const most = planned.packs === null ? Math.max(ROUNDED.g, ROUNDED.share * mine) : 0;
  if (Math.abs(found - mine) <= most) return "";
  return planned.packs === null ? `answers ${Number(found.toPrecision(3))} g, the plan ${Number(mine.toPrecision(3))} g` : `answers ${found} packs, the plan ${mine}`;
}

/**
 * The formulas of a request.
 * @param {any} request
 * @param {any} answer to it
 * @param {string} sheet
 * @returns {Promise<{number: string, words: string, unit: string, left: string, unlike: string} | {why: string}>}
 */
export async function formulaOf(request, answer, sheet) {
  const why = tooMuch(request);
  if (why) return { why };
  const question = QUESTIONS[Object.keys(request.targets)[0]];
  const known = (await questions()).get(question);
  if (!known) return { why: "This server has no cell question for that." };
  const unit = request.additions[0].pack ? undefined : unitOf(request); // packs are counted
  const { query, left } = told(request, known.parameters);
  const tailIn = (/** @type {string | undefined} */ wanted) => `${question}?${new URLSearchParams({ ...query, ...(wanted ? { unit: wanted } : {}) })}`;
  const tail = tailIn(unit);
  return {
    number: WRITTEN[sheet].number(addressOf(`v1/cell/${tail}`)),
    words: WRITTEN[sheet].words(addressOf(`v1/cell/caution/${tail}`)),
    unit: unit ?? "packs",
    left: left.join("; "),
    unlike: await unlike(addressOf(`v1/cell/${tailIn(unit && "g")}`), answer),
  };
}
