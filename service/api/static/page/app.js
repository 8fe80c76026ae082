// The page: from the questions to the answers.

import { fetched } from "./api.js";
import { showCopies, showNoCopies } from "./copy.js";
import { readyCurve } from "./curve.js";
import { demoBatch } from "./demo.js";
import { byId, h, tell } from "./dom.js";
import { draw, showKeptOnce, stopDrawing } from "./drawing.js";
import { noFaults } from "./faults.js";
import { fillForm } from "./fill.js";
import { clearAddress, fromAddress } from "./link.js";
import { idOfName, nameOfId } from "./names.js";
import { addRow, countFilled, onlyRows, showHints, tie, unitsChosen } from "./rows.js";
import { refreshStale, solve, state } from "./shown.js";
import { PREFERENCES } from "./words.js";

const EMPTY = [...byId("plan-body").childNodes];

const KINDS = /** @type {("lots" | "additions" | "targets")[]} */ (["lots", "additions", "targets"]);

/** Fill the form, and say what of the request it has no field for. @param {any} request */
function filled(request) {
  const left = fillForm(request);
  byId("left-out").textContent = left.length ? `Left out, because this page has no field for it: ${left.join("; ")}. A script can ask with it.` : "";
  byId("left-out").hidden = !left.length;
  showKeptOnce();
  refreshStale();
}

function startAgain() {
  noFaults();
  byId("request").reset();
  for (const kind of KINDS) onlyRows(kind, 1);
  Object.assign(state, { plan: null, ofForm: null, curve: null });
  refreshStale();
  byId("left-out").hidden = true;
  byId("plan-body").replaceChildren(...EMPTY);
  byId("plan-margin").textContent = "The plan.";
  countFilled(byId("request"));
  for (const id of ["plan-status", "curve-status", "copy-status"]) tell(byId(id), "");
  byId("plan-actions").hidden = true;
  byId("curve-body").replaceChildren();
  showNoCopies();
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

/** Fill the form with what the address holds. */
function filledFromAddress() {
  const request = fromAddress();
  if (request) {
    filled(request);
    tell(byId("plan-status"), "The form is filled from the address of this page. Press “Work it out”.");
  } else if (request === undefined) tell(byId("plan-status"), "The address of this page holds a request that cannot be read; it may have been cut off.");
}

/** @param {Event} event */
function formChanged(event) {
  const form = byId("request");
  if (/** @type {any} */ (event.target).name === "units") showHints(form);
  countFilled(form);
  showKeptOnce();
  refreshStale();
}

async function start() {
  byId("prefer").append(...PREFERENCES.map(([value, words]) => h("option", { value }, words)));
  readyCurve();
  for (const kind of KINDS) addRow(kind);
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
  byId("copy-as").addEventListener("change", () => state.plan && void showCopies(state.plan.request, state.plan.answer));
  byId("demo").addEventListener("click", () => {
    filled(demoBatch(unitsChosen()));
    void solve();
  });
  form.addEventListener("input", formChanged);
  document.querySelector(".skip")?.addEventListener("click", (event) => {
    event.preventDefault(); // the address keeps the request
    byId("main").focus();
  });
  window.addEventListener("hashchange", filledFromAddress);
  await listIngredients();
  filledFromAddress();
}

void start();
