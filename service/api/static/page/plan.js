// The plan as it is read on the page: what stops it first, then amounts, what they make, and what to do.

import { h, table } from "./dom.js";
import { calledName, inNames } from "./names.js";
import { hoursWords, plain, predictionWords, propertyWords, sourceWords, TARGETS, unitShown } from "./words.js";

const LEVELS = /** @type {Record<string, string>} */ ({ stop: "Stop", warning: "Warning", note: "Note" });

/** Titles of the sources of an answer by their keys. @param {any} answer @returns {Map<string, string>} */
const titlesOf = (answer) => new Map(answer.sources.map((/** @type {any} */ x) => [x.key, x.title]));

/** @param {{level: string, text: string, about: string | null, source_id: string}} caution @param {Map<string, string>} titles */
function cautionItem(caution, titles) {
  return h(
    "li",
    { class: `caution ${caution.level}` },
    h("strong", {}, `${LEVELS[caution.level] ?? caution.level}. `),
    inNames(caution.text),
    caution.about ? ` (${inNames(caution.about)})` : null,
    " ",
    h("span", { class: "source" }, sourceWords(caution.source_id, titles)),
  );
}

/** Cautions of some levels, or nothing. @param {any} answer @param {string[]} levels @param {string} label */
export function cautionList(answer, levels, label) {
  const some = answer.cautions.filter((/** @type {any} */ c) => levels.includes(c.level));
  return some.length ? h("ul", { class: "cautions", "aria-label": label }, ...some.map((/** @type {any} */ c) => cautionItem(c, titlesOf(answer)))) : null;
}

/** @param {any} answer */
export function amountsTable(answer) {
  const [priced, packed] = [answer.amounts.some((/** @type {any} */ a) => a.cost !== null), answer.amounts.some((/** @type {any} */ a) => a.packs !== null)];
  const heads = ["Pour", "Amount", "Share of the drink", ...(packed ? ["Packs"] : []), ...(priced ? [`Cost${answer.currency ? `, ${answer.currency}` : ""}`] : [])];
  const rows = answer.amounts.map((/** @type {any} */ a) => [
    calledName(a.name),
    a.mass_g > 0 ? h("strong", {}, a.amount_text) : h("span", { class: "quiet" }, a.amount_text),
    `${plain(a.share_of_volume_percent, 1)} %`,
    ...(packed ? [a.packs === null ? "" : plain(a.packs, 1)] : []),
    ...(priced ? [a.cost === null ? "" : plain(a.cost, 2)] : []),
  ]);
  return table("Amounts", heads, rows, { className: "amounts", figures: heads.map((_, k) => k).slice(2) });
}

/** Whether a target leaves a range; no drink hits an exact value, so that a chance says nothing there. @param {any} target */
const isRange = (target) => / to |at least|at most|±/.test(target.asked);

/** @param {any} target @param {string} units @returns {string} */
function verdictOf(target, units) {
  if (!target) return "";
  if (!target.met) {
    const { unit, by } = unitShown(target.property, target.unit, units);
    return `missed by ${plain(target.miss / by, 4)}${unit && unit !== "SG" ? ` ${unit}` : ""}`;
  }
  const told = isRange(target) && target.chance !== null && target.chance !== undefined;
  return told ? `met; the real drink lies in the range with ${Math.round(target.chance * 100)} %` : "met";
}

/** Properties asked for first, then the others, as far as they are predicted. @param {any} answer */
export function predictedOf(answer) {
  const asked = new Map(answer.targets.map((/** @type {any} */ t) => [t.property, t]));
  const { losses } = answer;
  const left = losses ? { packaged_volume: { value: losses.packaged_l, low: losses.packaged_low, high: losses.packaged_high, unit: "L" } } : {};
  const predicted = { ...answer.predicted, ...left };
  const known = TARGETS.filter((p) => predicted[p.name]);
  const order = [...known.filter((p) => asked.has(p.name)), ...known.filter((p) => !asked.has(p.name))];
  return order.map((p) => ({ property: p, target: asked.get(p.name), words: predictionWords(p.name, predicted[p.name], answer.units) }));
}

/** @param {any} answer */
function predictedTable(answer) {
  const rows = predictedOf(answer).map(({ property, target, words }) => [
    h("span", {}, property.words),
    h("strong", {}, words.value),
    words.unit,
    `${words.low} to ${words.high}`,
    target ? target.asked : "",
    target ? h("span", { class: target.met ? null : "missed" }, verdictOf(target, answer.units)) : "",
  ]);
  return table("What it will be", ["Property", "Expected", "Unit", "Nine drinks of ten lie in", "You asked for", "Outcome"], rows, { className: "predicted", figures: [1, 3] });
}

/** @param {any} answer */
function stepList(answer) {
  const day = new Map((answer.schedule ?? []).map((/** @type {any} */ entry) => [entry.step, entry]));
  const items = answer.steps.map((/** @type {any} */ step, /** @type {number} */ k) =>
    h(
      "li",
      {},
      step.wait_min_h > 0 ? h("span", { class: "wait" }, `After ${hoursWords(step.wait_min_h)}: `) : null,
      inNames(step.do),
      step.amount_text ? h("strong", {}, ` ${step.amount_text}`) : null,
      step.check ? h("span", { class: "check" }, ` ${inNames(step.check)}`) : null,
      step.source_id === "common_practice" ? null : h("span", { class: "source" }, ` ${sourceWords(step.source_id, titlesOf(answer))}`),
      day.get(k + 1)?.date ? h("span", { class: "quiet" }, ` ${day.get(k + 1).date}`) : null,
    ),
  );
  return h("ol", { class: "steps" }, ...items);
}

/** What a next reading should show, in words. @param {any} r */
export function expectedWords(r) {
  if (r.expect === null) return "";
  const unit = r.unit && r.unit !== "pH" ? ` ${r.unit}` : "";
  return `${r.expect}${unit}${r.low === null ? "" : ` (${r.low} to ${r.high})`}`;
}

/** @param {any} answer */
function readingsTable(answer) {
  const rows = answer.next_reading.map((/** @type {any} */ r) => [inNames(r.do), r.instrument, expectedWords(r)]);
  return table("What to read next", ["Reading", "With", "Expect"], rows, { className: "readings" });
}

/** @param {string} summary @param {...(Node | null)} inside */
function more(summary, ...inside) {
  return h("details", { class: "more" }, h("summary", {}, summary), ...inside);
}

/** @param {any} answer */
function backgroundOf(answer) {
  const assumed = answer.assumed.map((/** @type {any} */ a) => [a.what, a.value, a.source, a.measure_by ?? ""].map(inNames));
  const small = answer.targets.filter((/** @type {any} */ t) => t.marginal).map((/** @type {any} */ t) => h("li", {}, `${propertyWords(t.property)}: ${inNames(t.marginal)}`));
  const least = (answer.least_known ?? []).map((/** @type {any} */ l) => h("li", {}, inNames(l.text)));
  return h(
    "div",
    { class: "background" },
    small.length || least.length ? more("What a small change takes, and which reading would narrow the figures", h("ul", {}, ...small, ...least)) : null,
    more(`What was assumed (${assumed.length})`, table("Assumed", ["What", "Taken as", "After", "Better: measure it by"], assumed, { showCaption: false })),
    more(`Sources (${answer.sources.length})`, h("ul", { class: "sources" }, ...answer.sources.map((/** @type {any} */ x) => h("li", {}, x.title, h("span", { class: "source" }, ` ${x.mark}`))))),
    h("p", { class: "quiet" }, `Model ${answer.model_version}, data ${answer.data_version}. ${proofWords(answer.proof)}`),
  );
}

/** What is lost before filling. @param {any} answer */
function lossesView({ losses }) {
  if (!losses) return [];
  const parts = losses.parts.map((/** @type {any} */ part) => h("li", {}, inNames(part.text)));
  return [h("h3", {}, "What is left to fill"), h("p", {}, inNames(losses.text)), h("ul", {}, ...parts)];
}

/** @param {{verdict: string, gap: number | null}} proof */
function proofWords(proof) {
  if (proof?.verdict === "proved_best") return "Proved: in this model no other amounts within your limits do better.";
  if (proof?.verdict === "proved_impossible") return "Proved: no amounts within your limits meet all targets.";
  return "The best found; that nothing is better was not proved.";
}

/** One sentence of what came out, for the status line. @param {any} answer */
export function outcomeWords(answer) {
  const stops = answer.cautions.filter((/** @type {any} */ c) => c.level === "stop").length;
  const outcome = /** @type {Record<string, string>} */ ({
    targets_met: "All targets are met.",
    nearest_measurable: "The nearest that can be measured out; not every target is met.",
    targets_clash: "The targets cannot all be met; this is the nearest plan.",
    no_plan_found: "No plan that meets all targets was found; this is the nearest.",
  })[answer.outcome];
  return `${outcome ?? ""} ${stops ? `${stops === 1 ? "One thing stops" : `${stops} things stop`} it: read that first.` : ""}`.trim();
}

/**
 * A plan.
 * @param {any} answer
 * @param {Node | null} clash what may be done about a clash
 */
export function planView(answer, clash) {
  return [
    cautionList(answer, ["stop"], "What stops this plan"),
    h("p", { class: "summary" }, inNames(answer.clash ? outcomeWords(answer) : answer.summary)),
    clash,
    cautionList(answer, ["warning"], "Warnings"),
    amountsTable(answer),
    ...answer.fruit.map((/** @type {any} */ f) => h("p", { class: "quiet" }, `${calledName(f.ingredient)}: ${f.text}`)),
    predictedTable(answer),
    ...lossesView(answer),
    h("h3", {}, "What to do"),
    stepList(answer),
    readingsTable(answer),
    cautionList(answer, ["note"], "Notes"),
    backgroundOf(answer),
  ].filter((part) => part !== null);
}
