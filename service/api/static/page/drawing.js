// Asking for a curve: progress, the way to stop it, and the plan of a point that is taken.

import { ask, askSlowly, oneAtATime } from "./api.js";
import { clashView } from "./clash.js";
import { curvePlaces, curveRequest, markTaken, pointRequest, pointWords, showCurve, showKept } from "./curve.js";
import { byId, tell } from "./dom.js";
import { addIngredient, takeWay } from "./fill.js";
import { readForm } from "./request.js";
import { asked, failed, nextPlan, refreshStale, show, state } from "./shown.js";

const nextCurve = oneAtATime();

/** @param {number} done @param {number | null} of */
function progressed(done, of) {
  const bar = byId("curve-bar");
  if (of) [bar.max, bar.value] = [of, done];
  else bar.removeAttribute("value");
  byId("curve-bar-label").textContent = of ? `${done} of ${of} points` : `${done} points`;
}

/** The curve in flight; null where the reader stopped it. @type {AbortSignal | null} */
let drawing = null;

/** End the curve in flight. */
export function stopDrawing() {
  drawing = null;
  nextCurve();
}

let keptShown = "";

/** The targets offered to be kept, anew when those of the form have changed. */
export function showKeptOnce() {
  const now = JSON.stringify([byId("curve-x").value, Object.keys(readForm().request.targets)]);
  if (now !== keptShown) showKept();
  keptShown = now;
}

/** How many points, as the field has it. */
function pointsFault() {
  const field = byId("curve-points");
  return /^\s*\d+\s*$/.test(field.value) ? [] : [{ field, detail: "Write a whole number, such as 25." }];
}

/** Have the curve drawn that the form asks for. */
export async function draw() {
  const status = byId("curve-status");
  const read = asked(status, pointsFault());
  if (!read) return;
  showKeptOnce();
  const request = curveRequest(read.request);
  tell(status, "Working out the curve …");
  const busy = (/** @type {boolean} */ on) => {
    byId("curve-progress").hidden = !on;
    byId("stop-curve").hidden = !on;
  };
  progressed(0, null);
  busy(true);
  const signal = nextCurve();
  drawing = signal;
  try {
    const answer = await askSlowly("v1/trade-offs", request, signal, progressed);
    state.curve = { asked: request, form: read.request, answer };
    const clash = clashView(answer, {
      take(way) {
        const taken = takeWay(way, request.targets[way.member], undefined);
        if (taken) void draw();
        return taken;
      },
      add(id) {
        addIngredient(id);
        void draw();
      },
    });
    showCurve(byId("curve-body"), answer, clash, takePoint);
    markTaken(byId("curve-body"), null);
    refreshStale();
    tell(status, answer.points.length ? `The curve has ${answer.points.length} points. Take one to see its plan above.` : "There is no curve.");
  } catch (error) {
    if (drawing === null) tell(status, "Stopped.");
    failed(error, curvePlaces(read.places), status);
  } finally {
    if (drawing === signal || drawing === null) busy(false); // else another curve is in flight
  }
}

/** @param {number} k */
async function takePoint(k) {
  const { curve } = state;
  if (!curve) return;
  const request = pointRequest(curve.asked, curve.form, curve.answer, k);
  tell(byId("plan-status"), "Working it out …");
  try {
    const answer = await ask("v1/blend-plans", request, nextPlan());
    show({ request, form: curve.form, answer, title: pointWords(curve.answer, k), point: k });
  } catch (error) {
    failed(error, new Map(), byId("plan-status"));
  }
}
