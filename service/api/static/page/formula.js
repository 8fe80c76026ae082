// The request as a formula of a spreadsheet cell, where it is one lot, one ingredient and one figure wanted; else why not.

import { addressOf, fetched } from "./api.js";

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
  return null;
}

/** What is told of lot and ingredient, by the names of a cell's parameters. @param {any} request */
function parametersOf(request) {
  const { name: _n, gravity, use: _u, degassed: _d, on_lees: _l, ...lot } = request.lots[0];
  const reading = gravity !== null && typeof gravity === "object" ? gravity : { reading: gravity };
  const addition = request.additions[0];
  const { brix, titratable_acidity, ph } = addition.measured ?? {};
  const target = Object.values(request.targets)[0];
  return {
    ingredient: addition.ingredient,
    pack: addition.pack,
    half_packs: addition.half_packs ? 1 : undefined,
    ...lot,
    gravity: reading.reading,
    sample_temperature: reading.sample_temperature,
    calibrated_at: reading.calibrated_at,
    brix,
    ingredient_titratable_acidity: titratable_acidity,
    ingredient_ph: ph,
    hydrometer_error: request.instruments?.hydrometer?.error,
    target: target?.value ?? target,
  };
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

/**
 * The formulas of a request.
 * @param {any} request
 * @param {string} sheet
 * @returns {Promise<{number: string, words: string, unit: string, left: string} | {why: string}>}
 */
export async function formulaOf(request, sheet) {
  const why = tooMuch(request);
  if (why) return { why };
  const question = QUESTIONS[Object.keys(request.targets)[0]];
  const known = (await questions()).get(question);
  if (!known) return { why: "This server has no cell question for that." };
  const unit = request.additions[0].pack ? undefined : unitOf(request); // packs are counted
  const query = new URLSearchParams();
  const left = [];
  for (const [name, value] of Object.entries({ ...parametersOf(request), unit })) {
    if (value === undefined || value === null) continue;
    if (known.parameters.includes(name)) query.set(name, String(value));
    else left.push(name.replaceAll("_", " "));
  }
  if (request.additions[0].max || request.additions[0].min) left.push("the limits of the ingredient");
  const tail = `${question}?${query}`;
  return {
    number: WRITTEN[sheet].number(addressOf(`v1/cell/${tail}`)),
    words: WRITTEN[sheet].words(addressOf(`v1/cell/caution/${tail}`)),
    unit: unit ?? "packs",
    left: left.join(", "),
  };
}
