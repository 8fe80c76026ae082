// The trade-off: what is asked, the answer as a drawing and as a table, and the plan of the point that is taken.

import { byId, h, table } from "./dom.js";
import { chart, letterOf } from "./chart.js";
import { inNames } from "./names.js";
import { cautionList } from "./plan.js";
import { fieldOf, rowsOf } from "./rows.js";
import { BEST_OF, PROPERTIES, propertyOf, propertyWords, shown, SOUR, SWEET, unitShown } from "./words.js";

/** Fill the lists of the curve's form. */
export function readyCurve() {
  byId("curve-y").append(...BEST_OF.map(([value, words]) => h("option", { value }, words)));
  byId("curve-x").append(...PROPERTIES.map((p) => h("option", { value: p.name }, p.words)));
  byId("curve-x").value = "sucrose_equivalent_g_per_l";
  byId("curve-x").addEventListener("change", showKept);
}

/** @param {string} name @param {string} x */
const movesWith = (name, x) => name === x || (SWEET.has(x) && SWEET.has(name)) || (SOUR.has(x) && SOUR.has(name));

/** Offer the form's targets to be kept; those that move with the levels are let go unless ticked. */
export function showKept() {
  const x = byId("curve-x").value;
  const names = rowsOf("targets")
    .filter((row) => [...row.querySelectorAll("input")].some((f) => f.value.trim()))
    .map((row) => fieldOf(row, "property").value);
  const never = (/** @type {string} */ name) => name === x || name === "packaged_volume"; // losses belong to one plan
  const boxes = names.map((name) =>
    h("label", {}, h("input", { type: "checkbox", value: name, checked: !never(name) && !movesWith(name, x), disabled: never(name) }), ` ${propertyWords(name)}`),
  );
  byId("curve-keep").hidden = !boxes.length;
  byId("curve-keep-list").replaceChildren(...boxes);
}

/**
 * The question about the curve.
 * @param {any} request of a plan
 */
export function curveRequest(request) {
  const { prefer: _p, rounding: _r, losses: _l, hold_back: _h, targets, ...rest } = request;
  const kept = new Set([...byId("curve-keep-list").querySelectorAll("input:checked")].map((box) => box.value));
  const [wish, what] = byId("curve-y").value.split(" ");
  const points = byId("curve-points").value.trim();
  return {
    ...rest,
    targets: Object.fromEntries(Object.entries(targets).filter(([name]) => kept.has(name))),
    x: byId("curve-x").value,
    y: { [wish]: what },
    points: /^\d+$/.test(points) ? Number(points) : points,
  };
}

/** Fields of the curve's form behind the places of its request. @param {Map<string, HTMLElement>} places */
export function curvePlaces(places) {
  return new Map([...places, ["/x", byId("curve-x")], ["/y", byId("curve-y")], ["/points", byId("curve-points")]]);
}

/**
 * The plan that a point stands for: its level as a target, the best sought; packs as the point has them.
 * @param {any} asked the question about the curve
 * @param {any} form the request of the form that it was asked with, whose rounding and losses are those of the plan
 * @param {any} answer
 * @param {number} k
 */
export function pointRequest(asked, form, answer, k) {
  const { x, y, points: _p, also: _a, targets, additions, ...rest } = asked;
  const point = answer.points[k];
  const level = propertyOf(x)?.text ? `${point.x} ${answer.x.unit}` : point.x;
  const poured = new Map(point.amounts.map((/** @type {any} */ a) => [a.name, a]));
  const fixed = additions.map((/** @type {any} */ addition) => {
    const amount = poured.get(addition.ingredient);
    if (!addition.pack || amount?.packs == null) return addition;
    const { max_packs: _m, min: _n, max: _x, ...counted } = addition;
    return { ...counted, amount: `${amount.packs} packs` };
  });
  const { rounding = "scale", losses } = form;
  return { ...rest, additions: fixed, targets: { ...targets, [x]: level }, prefer: [y], rounding, ...(losses ? { losses } : {}) };
}

/** An axis in the units of the answer. @param {any} answer @param {"x" | "y"} which */
function axisOf(answer, which) {
  const { property, unit } = answer[which];
  return { property, ...unitShown(property, unit, answer.units) };
}

/** @typedef {ReturnType<typeof axisOf>} Axis */

/** @param {Axis} axis */
const axisWords = (axis) => `${propertyWords(axis.property)}${axis.unit ? `, ${axis.unit}` : ""}`;

/** @param {Axis} axis @param {number} value */
const figure = (axis, value) => shown(value / axis.by, axis.decimals);

/** @param {Axis} axis @param {number} value */
const levelWords = (axis, value) => `${figure(axis, value)}${axis.unit && axis.unit !== "SG" ? ` ${axis.unit}` : ""}`;

const MARKS = /** @type {Record<string, string>} */ ({ knee: "bends most here", best: "the best", low_end: "low end", high_end: "high end" });

/** A point in words. @param {any} answer @param {number} k */
export function pointWords(answer, k) {
  const p = answer.points[k];
  const [x, y] = [axisOf(answer, "x"), axisOf(answer, "y")];
  const marks = p.marks.map((/** @type {string} */ m) => MARKS[m] ?? m).join(", ");
  return `Point ${k + 1}: ${propertyWords(x.property)} ${levelWords(x, p.x)}, ${propertyWords(y.property)} ${levelWords(y, p.y)}${marks ? ` (${marks})` : ""}`;
}

/** @param {any} answer @param {(k: number) => void} take */
function pointTable(answer, take) {
  const [x, y] = [axisOf(answer, "x"), axisOf(answer, "y")];
  const rows = answer.points.map((/** @type {any} */ p, /** @type {number} */ k) => [
    String(k + 1),
    figure(x, p.x),
    figure(y, p.y),
    `${figure(y, p.y_low)} to ${figure(y, p.y_high)}`,
    [...p.marks.map((/** @type {string} */ m) => MARKS[m] ?? m), p.stops.length ? "stopped: see the plan" : ""].filter(Boolean).join(", "),
    h("button", { type: "button", class: "plain", "data-take": k, on: { click: () => take(k) } }, "Take", h("span", { class: "unseen" }, ` point ${k + 1}`)),
  ]);
  const heads = ["Point", axisWords(x), axisWords(y), "Nine of ten lie in", "Remark", "Plan"];
  return table("Points of the curve", heads, rows, { className: "points", figures: [1, 2, 3] });
}

/**
 * Show a curve.
 * @param {Element} place
 * @param {any} answer
 * @param {Node | null} clash
 * @param {(k: number) => void} take
 */
export function showCurve(place, answer, clash, take) {
  if (!answer.points.length) {
    place.replaceChildren(h("p", { class: "summary" }, answer.clash ? "These targets cannot all be met, so there is no curve." : inNames(answer.summary)), clash ?? "");
    return;
  }
  const frame = h("div", { class: "chart-frame" });
  const [x, y] = [axisOf(answer, "x"), axisOf(answer, "y")];
  const labels = { x: axisWords(x), y: axisWords(y) };
  const title = `${propertyWords(y.property)} against ${propertyWords(x.property)}`;
  const description = `${answer.points.length} points; arrow keys walk along them, Enter takes one. Where they lie close together, some are left to the table below, which has all.`;
  const nameOf = (/** @type {number} */ k) => `${pointWords(answer, k)}. ${answer.points[k].stops.length ? "Stopped: see the plan. " : ""}Take it.`;
  const points = answer.points.map((/** @type {any} */ p) => ({ ...p, x: p.x / x.by, y: p.y / y.by, y_low: p.y_low / y.by, y_high: p.y_high / y.by }));
  const breakpoints = answer.breakpoints.map((/** @type {any} */ b) => ({ ...b, x: b.x / x.by, y: b.y / y.by }));
  drawnTo(frame, (width) => chart({ points, breakpoints, labels, title, description, nameOf, width }, take));
  const breaks = answer.breakpoints.map((/** @type {any} */ b, /** @type {number} */ k) =>
    h("li", {}, h("strong", { class: "letter" }, letterOf(k)), ` ${levelWords(x, b.x)}: ${inNames(b.text)}`),
  );
  place.replaceChildren(
    ...[
      cautionList(answer, ["stop"], "What stops points of the curve"),
      h("p", { class: "summary" }, inNames(answer.summary)),
      frame,
      h("p", { class: "quiet" }, "Shaded: where nine drinks of ten lie. The square is where the curve bends most; a cross stands where something stops the plan."),
      breaks.length ? h("h3", {}, "Where another mix takes over") : null,
      breaks.length ? h("ul", { class: "breaks" }, ...breaks) : null,
      h("ul", { class: "ends" }, ...answer.ends.map((/** @type {any} */ e) => h("li", {}, inNames(e.text)))),
      cautionList(answer, ["warning"], "Warnings about the curve"),
      h("details", { class: "more", open: true }, h("summary", {}, "All points"), pointTable(answer, take)),
      cautionList(answer, ["note"], "Notes about the curve"),
      ...answer.notes.map((/** @type {string} */ n) => h("p", { class: "quiet" }, inNames(n))),
    ].filter((part) => part !== null),
  );
}

/** @type {ResizeObserver | null} */
let watching = null;

/**
 * Keep a drawing as wide as its frame, so that its letters keep their size.
 * @param {HTMLElement} frame
 * @param {(width: number) => SVGElement} drawn
 */
function drawnTo(frame, drawn) {
  watching?.disconnect();
  let last = 0;
  watching = new ResizeObserver(() => {
    const width = Math.max(240, Math.floor(frame.clientWidth));
    if (width === last) return;
    last = width;
    const taken = frame.querySelector(".dot.taken")?.getAttribute("data-point") ?? null;
    frame.replaceChildren(drawn(width));
    if (taken !== null) markTaken(frame, Number(taken));
  });
  watching.observe(frame);
}

/** Mark the point that the plan above was taken from. @param {Element} place @param {number | null} k */
export function markTaken(place, k) {
  for (const dot of place.querySelectorAll("[data-point]")) dot.classList.toggle("taken", dot.getAttribute("data-point") === String(k));
  for (const button of place.querySelectorAll("[data-take]")) button.closest("tr")?.classList.toggle("taken", button.getAttribute("data-take") === String(k));
}
