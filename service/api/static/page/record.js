// The batch record: one printed page with blanks for what is poured and read. It is seen on paper only.

import { h, table } from "./dom.js";
import { calledName, expectedWords, inNames, predictedOf } from "./plan.js";
import { hoursWords } from "./words.js";

const LEVELS = /** @type {Record<string, string>} */ ({ stop: "STOP", warning: "Warning", note: "Note" });

/** What a record can do without unless it was asked for. */
const UNPRINTED = new Set(["added_mass", "added_volume", "fermentable_sugar_g_per_l", "extract_g_per_l"]);

const blank = () => h("span", { class: "blank" }, " ");

/** @param {any} answer @param {string[]} levels */
function cautions(answer, levels) {
  const some = answer.cautions.filter((/** @type {any} */ c) => levels.includes(c.level));
  return some.length
    ? h("ul", { class: "record-cautions" }, ...some.map((/** @type {any} */ c) => h("li", { class: c.level }, h("strong", {}, `${LEVELS[c.level]}: `), inNames(c.text), c.about ? ` (${inNames(c.about)})` : "")))
    : null;
}

/** @param {any} answer */
function amounts(answer) {
  const rows = answer.amounts.filter((/** @type {any} */ a) => a.mass_g > 0).map((/** @type {any} */ a) => [calledName(a.name), a.amount_text, blank()]);
  return table("Amounts", ["Pour", "Planned", "Poured"], rows);
}

/** @param {any} answer */
function steps(answer) {
  const items = answer.steps.map((/** @type {any} */ step) =>
    h("li", {}, h("span", { class: "tick" }), step.wait_min_h > 0 ? `After ${hoursWords(step.wait_min_h)}: ` : "", inNames(step.do), step.amount_text ? ` ${step.amount_text}.` : "", step.check ? h("em", {}, ` ${inNames(step.check)}`) : ""),
  );
  return h("div", {}, h("h3", {}, "Steps"), h("ol", {}, ...items));
}

/** @param {any} answer */
function readings(answer) {
  const rows = answer.next_reading.map((/** @type {any} */ r) => [inNames(r.do), expectedWords(r), blank()]);
  return table("Readings", ["Read", "Expected", "Found"], rows);
}

/** @param {any} answer */
function properties(answer) {
  const rows = predictedOf(answer).filter(({ property, target }) => target || !UNPRINTED.has(property.name)).map(({ property, target, words }) => [property.words, `${words.value} ${words.unit}`, `${words.low} to ${words.high}`, target ? `${target.asked.replaceAll(` ${words.unit}`, "")}${target.met ? "" : ": missed"}` : ""]);
  return table("What it should be", ["Property", "Expected", "Nine of ten in", "Asked"], rows, { className: "closely" });
}

/**
 * Write the record.
 * @param {Element} place
 * @param {any} answer
 * @param {string} title what it is a plan of, beside the batch
 */
export function writeRecord(place, answer, title) {
  place.replaceChildren(
    h("header", {}, h("h2", {}, `Batch record: ${answer.batch || "unnamed"}`), h("p", {}, `Date: ${answer.date || "__________"}`), h("p", {}, "Made by: ______________")),
    ...[
      cautions(answer, ["stop"]),
      title ? h("p", {}, title) : null,
      cautions(answer, ["warning"]),
      amounts(answer),
      h("div", { class: "record-columns" }, steps(answer), h("div", {}, readings(answer), properties(answer))),
      cautions(answer, ["note"]),
    ].filter((part) => part !== null),
    h("footer", {}, `Model ${answer.model_version}, data ${answer.data_version}. Estimates: verify by measurement; local law and licensed practice come first. Alcohol is for adults.`),
  );
}
