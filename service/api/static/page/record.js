// The batch record: what stops the plan first, what the base was, blanks for what is poured and read. Seen on paper only.

import { reasonOf } from "./clash.js";
import { h, table } from "./dom.js";
import { leavesOf } from "./leaves.js";
import { calledName, fieldWords, inNames } from "./names.js";
import { expectedWords, outcomeWords, predictedOf } from "./plan.js";
import { hoursWords } from "./words.js";

const LEVELS = /** @type {Record<string, string>} */ ({ stop: "STOP", warning: "Warning", note: "Note" });

/** What a record can do without unless it was asked for. */
const UNPRINTED = new Set(["added_mass", "added_volume", "fermentable_sugar_g_per_l", "extract_g_per_l"]);

/** More rows of amounts and steps than one page holds legibly: then it takes two. */
const ROWS_OF_A_PAGE = 23;

const blank = () => h("span", { class: "blank" }, " ");

/** @param {any} answer @param {string[]} levels */
function cautions(answer, levels) {
  const some = answer.cautions.filter((/** @type {any} */ c) => levels.includes(c.level));
  return some.length
    ? h("ul", { class: "record-cautions" }, ...some.map((/** @type {any} */ c) => h("li", { class: c.level }, h("strong", {}, `${LEVELS[c.level]}: `), inNames(c.text), c.about ? ` (${inNames(c.about)})` : "")))
    : null;
}

/** Whether nothing is to be poured by this answer. @param {any} answer */
const poursNothing = (answer) => ["targets_clash", "no_plan_found"].includes(answer.outcome);

/** What came out, where it is not that all targets are met. @param {any} answer */
function outcome(answer) {
  if (answer.outcome === "targets_met") return null;
  const why = answer.clash ? ` ${reasonOf(answer.clash)}` : "";
  return h("p", { class: "heed" }, h("strong", {}, outcomeWords(answer)), why, poursNothing(answer) ? " Pour nothing by this record." : "");
}

const READ = ["volume", "gravity", "abv_percent", "original_gravity", "titratable_acidity", "ph", "residual_sugar", "class", "degassed", "on_lees"];

/** A reading as it was given. @param {any} lot @param {string} name */
function readingWords(lot, name) {
  const leaves = leavesOf(lot[name]);
  if (!leaves.length) return null;
  if (typeof lot[name] === "boolean") return `${lot[name] ? "" : "not "}${fieldWords(name)}`;
  if (name === "class") return fieldWords(lot[name]);
  const told = leaves.map(({ path, value }) => `${["", "reading"].includes(path) ? "" : `${fieldWords(path)} `}${value}`).join(", ");
  return `${fieldWords(name)} ${told}${name === "abv_percent" ? " % vol" : ""}`;
}

/** The base's own readings, and what the drink is meant for. @param {any} request */
function given(request) {
  const lots = request.lots.map((/** @type {any} */ lot) => h("p", {}, h("strong", {}, `${calledName(lot.name)}: `), `${READ.map((name) => readingWords(lot, name)).filter(Boolean).join("; ")}.`));
  const { container, hurdles, storage_temperature: storage, vessel } = request.intended ?? {};
  const meant = [container ?? "container not said", hurdles?.length ? `the yeast is held back by ${hurdles.map(fieldWords).join(", ")}` : "nothing said that holds the yeast back", storage && `stored at ${storage} at most`, vessel && `mixed in ${vessel}`];
  return h("div", { class: "given" }, ...lots, h("p", {}, h("strong", {}, "Meant for: "), `${meant.filter(Boolean).join("; ")}.`));
}

/** @param {any} answer */
function amounts(answer) {
  const pours = !poursNothing(answer);
  const rows = answer.amounts.filter((/** @type {any} */ a) => a.mass_g > 0).map((/** @type {any} */ a) => [calledName(a.name), a.amount_text, ...(pours ? [blank()] : [])]);
  return table(pours ? "Amounts" : "Amounts of the nearest plan, which misses what was asked for", ["Pour", "Planned", ...(pours ? ["Poured"] : [])], rows);
}

/** Doses to fill in beside the step that stabilises. @param {string} step @param {any} request */
function doses(step, request) {
  if (!/^stabili[sz]e/i.test(step)) return [];
  const hurdles = request.intended?.hurdles ?? [];
  const names = ["sulfite", "sorbate"].filter((name) => hurdles.includes(name) || !hurdles.length);
  return names.flatMap((name) => [` Potassium ${name === "sulfite" ? "metabisulfite" : name} `, blank(), " g."]);
}

/** @param {any} answer @param {any} request */
function steps(answer, request) {
  const items = answer.steps.map((/** @type {any} */ step) =>
    h("li", {}, h("span", { class: "tick" }), step.wait_min_h > 0 ? `After ${hoursWords(step.wait_min_h)}: ` : "", inNames(step.do), step.amount_text ? ` ${step.amount_text}.` : "", ...doses(step.do, request), step.check ? h("em", {}, ` ${inNames(step.check)}`) : ""),
  );
  return h("div", {}, h("h3", {}, "Steps"), h("ol", {}, ...items));
}

/** @param {any} answer */
function readings(answer) {
  const rows = answer.next_reading.map((/** @type {any} */ r) => [inNames(r.do), expectedWords(r), blank()]);
  return table("Readings, the instrument’s error included", ["Read", "Expected", "Found"], rows);
}

/** @param {any} answer */
function properties(answer) {
  const rows = predictedOf(answer).filter(({ property, target }) => target || !UNPRINTED.has(property.name)).map(({ property, target, words }) => [property.words, `${words.value} ${words.unit}`, `${words.low} to ${words.high}`, target ? `${target.asked.replaceAll(` ${words.unit}`, "")}${target.met ? "" : ": missed"}` : ""]);
  return table(poursNothing(answer) ? "What the nearest plan would be" : "What it should be", ["Property", "Expected", "Nine of ten in", "Asked"], rows, { className: "closely" });
}

/** What is done and read: beside each other, and only the figures where nothing is poured. @param {any} answer @param {any} request */
function work(answer, request) {
  if (poursNothing(answer)) return properties(answer);
  return h("div", { class: "record-columns" }, steps(answer, request), h("div", {}, readings(answer), properties(answer)));
}

/**
 * Write the record.
 * @param {Element} place
 * @param {{request: any, answer: any, title: string}} shown title: what it is a plan of, beside the batch
 */
export function writeRecord(place, { request, answer, title }) {
  place.classList.toggle("long", answer.amounts.length + answer.steps.length > ROWS_OF_A_PAGE);
  place.replaceChildren(
    h("header", {}, h("h2", {}, "Batch record: ", answer.batch || h("span", { class: "blank name" }, " ")), h("p", {}, `Date: ${answer.date || "__________"}`), h("p", {}, "Made by: ______________")),
    ...[
      h("p", { class: "heed", id: "record-stale", hidden: true }, h("strong", {}, "The form has changed since"), ": this record is of the request before that."),
      cautions(answer, ["stop"]),
      outcome(answer),
      title ? h("p", {}, title) : null,
      cautions(answer, ["warning"]),
      given(request),
      amounts(answer),
      work(answer, request),
      cautions(answer, ["note"]),
    ].filter((part) => part !== null),
    h("footer", {}, `Model ${answer.model_version}, data ${answer.data_version}. Estimates: verify by measurement; local law and licensed practice come first. Alcohol is for adults.`),
  );
}
