// A curve drawn as SVG: axes, the band in which nine drinks of ten lie, points to walk along and take.

import { s } from "./dom.js";
import { plain } from "./words.js";

/** @typedef {{x: number, y: number, y_low: number, y_high: number, marks: string[], stops: any[]}} Point */

/**
 * Round steps of an axis.
 * @param {number} low
 * @param {number} high
 * @param {number} about how many
 */
export function ticks(low, high, about) {
  const raw = (high - low) / Math.max(about, 1);
  const power = 10 ** Math.floor(Math.log10(raw));
  const step = [1, 2, 5, 10].map((k) => k * power).find((k) => k >= raw * 0.999) ?? power;
  const first = Math.ceil(low / step - 1e-9);
  const last = Math.floor(high / step + 1e-9);
  const decimals = Math.max(0, -Math.floor(Math.log10(step) + 1e-9));
  return Array.from({ length: last - first + 1 }, (_, k) => ({ at: (first + k) * step, text: plain((first + k) * step, decimals) }));
}

/** Ends of an axis around some values; from zero where that costs little. @param {number[]} values */
function span(values) {
  let [low, high] = [Math.min(...values), Math.max(...values)];
  const width = high - low || Math.abs(high) * 0.1 || 1;
  low = low >= 0 && low < width ? 0 : low - 0.06 * width;
  return [low, high + 0.06 * width];
}

const LETTERS = "abcdefghijklmnopqrstuvwxyz";

/**
 * Draw a curve.
 * @param {object} curve
 * @param {Point[]} curve.points
 * @param {{x: number, y: number}[]} curve.breakpoints
 * @param {{x: string, y: string}} curve.labels
 * @param {string} curve.title
 * @param {string} curve.description
 * @param {(k: number) => string} curve.nameOf a point in words
 * @param {number} curve.width in CSS pixels
 * @param {(k: number) => void} take
 * @returns {SVGElement}
 */
export function chart(curve, take) {
  const { points, width } = curve;
  const height = Math.round(Math.min(420, Math.max(260, width * 0.6)));
  const [left, right, top, bottom] = [54, 14, 46, 48];
  const [x0, x1] = span(points.map((p) => p.x));
  const [y0, y1] = span(points.flatMap((p) => [p.y_low, p.y, p.y_high]));
  const px = (/** @type {number} */ x) => left + ((x - x0) / (x1 - x0)) * (width - left - right);
  const py = (/** @type {number} */ y) => height - bottom - ((y - y0) / (y1 - y0)) * (height - top - bottom);
  const at = (/** @type {number} */ x, /** @type {number} */ y) => `${px(x).toFixed(1)},${py(y).toFixed(1)}`;
  const svg = s("svg", { class: "chart", viewBox: `0 0 ${width} ${height}`, width, height, role: "group", "aria-labelledby": "chart-title chart-text" });
  svg.append(s("title", { id: "chart-title" }, curve.title), s("desc", { id: "chart-text" }, curve.description));
  const drawn = s("g", { "aria-hidden": "true" });
  for (const { at: x, text } of ticks(x0, x1, width / 90)) {
    drawn.append(s("line", { class: "grid", x1: px(x), x2: px(x), y1: top, y2: height - bottom }));
    drawn.append(s("text", { class: "tick", x: px(x), y: height - bottom + 17, "text-anchor": "middle" }, text));
  }
  for (const { at: y, text } of ticks(y0, y1, height / 60)) {
    drawn.append(s("line", { class: "grid", x1: left, x2: width - right, y1: py(y), y2: py(y) }));
    drawn.append(s("text", { class: "tick", x: left - 7, y: py(y) + 4, "text-anchor": "end" }, text));
  }
  drawn.append(
    s("path", { class: "axis", d: `M${left},${top} V${height - bottom} H${width - right}` }),
    s("text", { class: "axis-name", x: width - right, y: height - 8, "text-anchor": "end" }, curve.labels.x),
    s("text", { class: "axis-name", x: 4, y: 14 }, curve.labels.y),
  );
  const upper = points.map((p) => at(p.x, p.y_high));
  const lower = points.map((p) => at(p.x, p.y_low)).reverse();
  drawn.append(s("path", { class: "band", d: `M${[...upper, ...lower].join("L")}Z` }));
  drawn.append(s("path", { class: "curve", d: `M${points.map((p) => at(p.x, p.y)).join("L")}` }));
  let beside = { x: -99, y: 0 };
  curve.breakpoints.forEach((b, k) => {
    const name = { x: px(b.x), y: py(b.y) - 20 };
    if (name.x - beside.x < 11 && Math.abs(name.y - beside.y) < 13) name.x = beside.x + 11; // letters stand side by side
    beside = name;
    drawn.append(s("path", { class: "break", d: `M${px(b.x)},${py(b.y) - 6}V${py(b.y) - 11}L${name.x},${name.y + 4}` }));
    drawn.append(s("text", { class: "break-name", x: name.x, y: name.y, "text-anchor": "middle" }, LETTERS[k] ?? ""));
  });
  svg.append(drawn, ...dots(curve, px, py, take));
  return svg;
}

/** The letter of a breakpoint in the drawing. @param {number} k */
export const letterOf = (k) => LETTERS[k] ?? "";

// WCAG 2.2, 2.5.8: targets of 24 CSS px, which may touch but not overlap.
const APART = 24;

/**
 * Which points can be taken in the drawing: as many as lie far enough apart for a finger, marked ones first.
 * @param {Point[]} points
 * @param {(x: number) => number} px
 * @param {(y: number) => number} py
 * @returns {Set<number>}
 */
export function tappable(points, px, py) {
  /** @type {Set<number>} */
  const taken = new Set();
  const places = points.map((p) => [px(p.x), py(p.y)]);
  const rank = points.map((p, k) => (p.marks.includes("knee") ? 0 : p.marks.length ? 1 : 2 + k / points.length));
  for (const k of points.map((_, j) => j).sort((a, b) => rank[a] - rank[b])) {
    const near = [...taken].some((j) => Math.hypot(places[j][0] - places[k][0], places[j][1] - places[k][1]) < APART);
    if (!near) taken.add(k);
  }
  return taken;
}

/**
 * Points as buttons: one stop for the Tab key, arrows walk along. Those too close to their neighbours are only drawn.
 * @param {any} curve
 * @param {(x: number) => number} px
 * @param {(y: number) => number} py
 * @param {(k: number) => void} take
 */
function dots(curve, px, py, take) {
  const buttons = tappable(curve.points, px, py);
  /** @type {SVGElement[]} */
  const plainly = [];
  /** @type {any[]} */
  const all = [];
  curve.points.forEach((/** @type {Point} */ p, /** @type {number} */ k) => {
    const [x, y] = [px(p.x), py(p.y)];
    if (!buttons.has(k)) {
      const stop = p.stops.length ? s("path", { class: "stopped", d: `M${x - 3},${y - 3}l6,6m0,-6l-6,6` }) : null;
      plainly.push(s("g", { class: "close", "aria-hidden": "true", "data-point": k }, s("circle", { class: "mark", cx: x, cy: y, r: 2.5 }), stop));
      return;
    }
    const here = all.length;
    const knee = p.marks.includes("knee");
    const dot = s(
      "g",
      { class: `dot${p.marks.length ? " marked" : ""}`, role: "button", tabindex: here === 0 ? 0 : -1, "aria-label": curve.nameOf(k), "data-point": k },
      s("circle", { class: "reach", cx: x, cy: y, r: APART / 2 }),
      s("circle", { class: "halo", cx: x, cy: y, r: 9 }),
      knee ? s("rect", { class: "mark", x: x - 5.5, y: y - 5.5, width: 11, height: 11 }) : s("circle", { class: "mark", cx: x, cy: y, r: 4.5 }),
      p.stops.length ? s("path", { class: "stopped", d: `M${x - 4},${y - 4}l8,8m0,-8l-8,8` }) : null,
    );
    dot.addEventListener("click", () => {
      walkTo(here);
      take(k);
    });
    dot.addEventListener("keydown", (event) => {
      const key = /** @type {KeyboardEvent} */ (event).key;
      const to = { ArrowRight: here + 1, ArrowUp: here + 1, ArrowLeft: here - 1, ArrowDown: here - 1, Home: 0, End: all.length - 1 }[key];
      if (to !== undefined) walkTo(Math.min(Math.max(to, 0), all.length - 1));
      else if (key === "Enter" || key === " ") take(k);
      else return;
      event.preventDefault();
    });
    all.push(dot);
  });
  const walkTo = (/** @type {number} */ k) => {
    all.forEach((dot, j) => dot.setAttribute("tabindex", j === k ? "0" : "-1"));
    all[k].focus();
  };
  return [...plainly, ...all];
}
