// The page: from the questions to the answers.

import { ask, askSlowly, fetched, oneAtATime, Refused } from "./api.js";
import { clashView } from "./clash.js";
import { showCopies } from "./copy.js";
import { curvePlaces, curveRequest, markTaken, pointRequest, pointWords, readyCurve, showCurve, showKept } from "./curve.js";
import { demoBatch } from "./demo.js";
import { byId, h, tell } from "./dom.js";
import { fieldAt, noFaults, showFaults } from "./faults.js";
import { addIngredient, fillForm, nameOfId, takeWay } from "./fill.js";
import { clearAddress, fromAddress, keepInAddress } from "./link.js";
import { outcomeWords, planView } from "./plan.js";
import { writeRecord } from "./record.js";
import { idOfName, readForm } from "./request.js";
import { addRow, countFilled, onlyRows, showHints, tie, unitsChosen } from "./rows.js";
import { PREFERENCES } from "./words.js";

/** @typedef {{request: any, answer: any, title: string, point: number | null}} Shown */

/** @type {{plan: Shown | null, ofForm: Shown | null, curve: {asked: any, answer: any} | null}} */
const state = { plan: null, ofForm: null, curve: null };
const nextPlan = oneAtATime();
const nextCurve = oneAtATime();
const EMPTY = [...byId("plan-body").childNodes];

/** A failure in words, beside the fields where it names them. @param {unknown} error @param {Map<string, HTMLElement>} places @param {Element} status */
function failed(error, places, status) {
  if (error instanceof DOMException && error.name === "AbortError") return;
  if (error instanceof Refused) {
    tell(status, "Not worked out: something has to change first.");
    showFaults(error.faults.map((fault) => ({ field: fieldAt(places, fault.pointer), detail: fault.detail })));
    return;
  }
  tell(status, "");
  showFaults([{ field: null, detail: error instanceof Error ? error.message : String(error) }]);
}

/** What the form asks, or null where it has faults, which are then shown. @param {Element} status */
function asked(status) {
  noFaults();
  status.classList.remove("unseen");
  const read = readForm();
  if (!read.faults.length) return read;
  tell(status, "Not worked out: something has to change first.");
  showFaults(read.faults);
  return null;
}

/** @param {Shown} shown @param {boolean} jump whether the reader is put before it */
function show(shown, jump = true) {
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
  byId("plan-stale").hidden = true;
  byId("plan-status").classList.add("unseen"); // what it says is read out; the plan shows it
  tell(byId("plan-status"), `${title ? `${title}. ` : ""}${outcomeWords(answer)}`);
  writeRecord(byId("record"), answer, title);
  void showCopies(request);
  keepInAddress(request);
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

async function solve() {
  const status = byId("plan-status");
  const read = asked(status);
  if (!read) return;
  tell(status, "Working it out …");
  try {
    const answer = await ask("v1/blend-plans", read.request, nextPlan());
    state.ofForm = { request: read.request, answer, title: "", point: null };
    show(state.ofForm);
  } catch (error) {
    failed(error, read.places, status);
  }
}

/** @param {number} done @param {number | null} of */
function progressed(done, of) {
  const bar = byId("curve-bar");
  if (of) [bar.max, bar.value] = [of, done];
  else bar.removeAttribute("value");
  byId("curve-bar-label").textContent = of ? `${done} of ${of} points` : `${done} points`;
}

/** The curve in flight; null where the reader stopped it. @type {AbortSignal | null} */
let drawing = null;

function stopDrawing() {
  drawing = null;
  nextCurve(); // ends the one in flight
}

async function draw() {
  const status = byId("curve-status");
  const read = asked(status);
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
    state.curve = { asked: request, answer };
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
  const rounding = state.ofForm?.request.rounding ?? "scale";
  const request = pointRequest(curve.asked, curve.answer, k, rounding);
  tell(byId("plan-status"), "Working it out …");
  try {
    const answer = await ask("v1/blend-plans", request, nextPlan());
    show({ request, answer, title: pointWords(curve.answer, k), point: k });
  } catch (error) {
    failed(error, new Map(), byId("plan-status"));
  }
}

let keptShown = "";

/** The targets offered to be kept, anew when those of the form have changed. */
function showKeptOnce() {
  const now = JSON.stringify([byId("curve-x").value, Object.keys(readForm().request.targets)]);
  if (now !== keptShown) showKept();
  keptShown = now;
}

function startAgain() {
  noFaults();
  byId("request").reset();
  for (const kind of /** @type {("lots" | "additions" | "targets")[]} */ (["lots", "additions", "targets"])) onlyRows(kind, 1);
  Object.assign(state, { plan: null, ofForm: null, curve: null });
  byId("plan-body").replaceChildren(...EMPTY);
  byId("plan-margin").textContent = "The plan.";
  byId("plan-stale").hidden = true;
  countFilled(byId("request"));
  for (const id of ["plan-status", "curve-status", "copy-status"]) tell(byId(id), "");
  byId("plan-actions").hidden = true;
  byId("curve-body").replaceChildren();
  byId("copy-body").replaceChildren(h("p", { class: "empty" }, "First work out a plan."));
  byId("record").replaceChildren();
  showKeptOnce();
  showHints(byId("request"));
  clearAddress();
  byId("batch").focus();
}

/** The catalogue under the fields of ingredients. */
async function listIngredients() {
  try {
    const { ingredients } = await fetched("v1/ingredients");
    for (const { id, name, category } of ingredients) {
      nameOfId.set(id, name);
      idOfName.set(name.toLowerCase(), id);
      byId("catalogue").append(h("option", { value: name }, category));
    }
  } catch {
    // the fields still take an id or a short name, and the service says which there are
  }
}

/** Fill the form with what the address holds. @returns {boolean} */
function filledFromAddress() {
  const request = fromAddress();
  if (request) {
    fillForm(request);
    showKeptOnce();
    tell(byId("plan-status"), "The form is filled from the address of this page. Press “Work it out”.");
  } else if (request === undefined) tell(byId("plan-status"), "The address of this page holds a request that cannot be read; it may have been cut off.");
  return Boolean(request);
}

async function start() {
  byId("prefer").append(...PREFERENCES.map(([value, words]) => h("option", { value }, words)));
  readyCurve();
  for (const kind of /** @type {("lots" | "additions" | "targets")[]} */ (["lots", "additions", "targets"])) addRow(kind);
  tie(document.body);
  showHints(byId("request"));
  byId("add-lot").addEventListener("click", () => addRow("lots").querySelector("input")?.focus());
  byId("add-addition").addEventListener("click", () => addRow("additions").querySelector("input")?.focus());
  byId("add-target").addEventListener("click", () => addRow("targets").querySelector("select")?.focus());
  const form = byId("request");
  const submitted = (/** @type {Event} */ event, /** @type {() => Promise<void>} */ then) => {
    event.preventDefault();
    void then();
  };
  form.addEventListener("submit", (/** @type {Event} */ event) => submitted(event, solve));
  byId("curve-form").addEventListener("submit", (/** @type {Event} */ event) => submitted(event, draw));
  byId("stop-curve").addEventListener("click", stopDrawing);
  byId("clear").addEventListener("click", startAgain);
  byId("print").addEventListener("click", () => window.print());
  byId("copy-as").addEventListener("change", () => state.plan && void showCopies(state.plan.request));
  byId("demo").addEventListener("click", () => {
    fillForm(demoBatch(unitsChosen()));
    showKeptOnce();
    void solve();
  });
  form.addEventListener("input", (/** @type {Event} */ event) => {
    if (/** @type {any} */ (event.target).name === "units") showHints(form);
    byId("plan-stale").hidden = !state.plan;
    countFilled(form);
    showKeptOnce();
  });
  document.querySelector(".skip")?.addEventListener("click", (event) => {
    event.preventDefault(); // the address keeps the request
    byId("main").focus();
  });
  window.addEventListener("hashchange", filledFromAddress);
  await listIngredients();
  filledFromAddress();
}

void start();
