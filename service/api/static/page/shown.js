// What is asked and shown: faults before a question, the plan that stands on the page, and whether the form has moved on.

import { ask, oneAtATime, Refused } from "./api.js";
import { clashView } from "./clash.js";
import { showCopies } from "./copy.js";
import { markTaken } from "./curve.js";
import { byId, h, tell } from "./dom.js";
import { addFaults, fieldAt, noFaults, showFaults } from "./faults.js";
import { addIngredient, takeWay } from "./fill.js";
import { keepInAddress } from "./link.js";
import { outcomeWords, planView } from "./plan.js";
import { writeRecord } from "./record.js";
import { holdsAnyway, readForm, standIn } from "./request.js";

/**
 * @typedef {object} Shown
 * @property {any} request
 * @property {any} form the request of the form that it comes from
 * @property {any} answer
 * @property {string} title
 * @property {number | null} point of the curve
 */

/** @type {{plan: Shown | null, ofForm: Shown | null, curve: {asked: any, form: any, answer: any} | null}} */
export const state = { plan: null, ofForm: null, curve: null };

export const nextPlan = oneAtATime();

/** A failure in words, beside the fields where it names them. @param {unknown} error @param {Map<string, HTMLElement>} places @param {Element} status */
export function failed(error, places, status) {
  if (error instanceof DOMException && error.name === "AbortError") return;
  if (error instanceof Refused) {
    tell(status, "Not worked out: something has to change first.");
    showFaults(error.faults.map((fault) => ({ field: fieldAt(places, fault.pointer), detail: fault.detail })));
    return;
  }
  tell(status, "");
  showFaults([{ field: null, detail: error instanceof Error ? error.message : String(error) }]);
}

/**
 * What the form asks, or null where it has faults, which are then shown, with those that the service finds besides.
 * @param {Element} status
 * @param {{field: HTMLElement, detail: string}[]} further faults found elsewhere
 */
export function asked(status, further = []) {
  noFaults();
  status.classList.remove("unseen");
  const read = readForm();
  const faults = [...read.faults, ...further];
  if (!faults.length) return read;
  tell(status, "Not worked out: something has to change first.");
  showFaults(faults);
  void lookedAt(read, new Set(faults.map((fault) => fault.field)));
  return null;
}

/**
 * Have the service look at the rest of a form with faults, so that all are told in one round.
 * @param {import("./request.js").Read} read
 * @param {Set<HTMLElement>} known fields with faults that are told already
 */
async function lookedAt(read, known) {
  const request = standIn(read);
  if (!request) return;
  try {
    await ask("v1/blend-plans", request, nextPlan());
  } catch (error) {
    if (!(error instanceof Refused) || byId("problems").hidden) return;
    const found = error.faults.filter((fault) => holdsAnyway(read, fault)).map((fault) => ({ field: fieldAt(read.places, fault.pointer), detail: fault.detail }));
    addFaults(found.filter(({ field }) => field && !known.has(field)));
  }
}

/** Say at plan, record and curve whether the form has changed since they were asked for. @returns {boolean} of the plan */
export function refreshStale() {
  const now = JSON.stringify(readForm().request);
  const moved = (/** @type {{form: any} | null} */ one) => one !== null && JSON.stringify(one.form) !== now;
  const plan = moved(state.plan);
  const ofCurve = state.plan !== null && state.plan.point !== null;
  byId("plan-stale").textContent = ofCurve
    ? "The form has changed since this curve was drawn: the plan is of the form as it was, and the address of this page keeps the request before it."
    : "The form has changed since: work it out again.";
  byId("plan-stale").hidden = !plan;
  byId("copy-stale").hidden = !plan;
  byId("curve-stale").hidden = !moved(state.curve);
  const record = document.getElementById("record-stale");
  if (record) record.hidden = !plan;
  return plan;
}

/** @param {Shown} shown @param {boolean} jump whether the reader is put before it */
export function show(shown, jump = true) {
  state.plan = shown;
  const { request, answer, title, point } = shown;
  const clash = clashView(answer, {
    take(way) {
      const lot = answer.amounts.find((/** @type {any} */ a) => a.kind === "lot" && way.member === `use of ${a.name}`);
      const taken = takeWay(way, request.targets[way.member], lot?.mass_g);
      if (taken) void solve();
      return taken;
    },
    add(id) {
      addIngredient(id);
      void solve();
    },
  });
  const origin = point === null ? null : pointNotice(title);
  byId("plan-body").replaceChildren(...(origin ? [origin] : []), ...planView(answer, clash));
  byId("plan-margin").textContent = point === null ? "The plan of the form." : "The plan of a point of the curve.";
  byId("plan-actions").hidden = false;
  byId("plan-status").classList.add("unseen"); // what it says is read out; the plan shows it
  writeRecord(byId("record"), shown);
  const stale = refreshStale();
  tell(byId("plan-status"), `${title ? `${title}. ` : ""}${stale ? "This plan is of an earlier form. " : ""}${outcomeWords(answer)}`);
  void showCopies(request, answer);
  if (!stale) keepInAddress(request);
  markTaken(byId("curve-body"), point);
  if (!jump) return;
  byId("plan-title").focus({ preventScroll: true });
  byId("plan").scrollIntoView({ block: "start" });
}

/** @param {string} title */
function pointNotice(title) {
  const back = h("button", { type: "button", class: "plain" }, "Back to the plan of the form");
  back.addEventListener("click", () => state.ofForm && show(state.ofForm));
  return h("p", { class: "notice" }, `${title}. `, state.ofForm ? back : null);
}

/** Have the plan worked out that the form asks for. */
export async function solve() {
  const status = byId("plan-status");
  const read = asked(status);
  refreshStale();
  if (!read) return;
  tell(status, "Working it out …");
  try {
    const answer = await ask("v1/blend-plans", read.request, nextPlan());
    state.ofForm = { request: read.request, form: read.request, answer, title: "", point: null };
    show(state.ofForm);
  } catch (error) {
    failed(error, read.places, status);
  }
}
