// The request of the plan on the page, as JSON, as a command, or as a formula; copied, or shown to be copied by hand.

import { addressOf } from "./api.js";
import { byId, h, tell } from "./dom.js";
import { formulaOf } from "./formula.js";
import { inNames } from "./names.js";

/** A text within single quotes of a shell. @param {string} text */
const shellQuoted = (text) => `'${text.replaceAll("'", "'\\''")}'`;

/** @param {any} request */
const asJson = (request) => JSON.stringify(request, null, 2);

/** @param {any} request */
const asCurl = (request) => `curl -s ${addressOf("v1/blend-plans")} -H 'Content-Type: application/json' -d ${shellQuoted(asJson(request))}`;

let made = 0;

/**
 * A text in a field of its own, with a button that copies it.
 * @param {string} label
 * @param {string} text
 */
function copied(label, text) {
  const id = `copy-${(made += 1)}`;
  const field = /** @type {HTMLTextAreaElement} */ (h("textarea", { id, readonly: true, rows: Math.min(14, text.split("\n").length + (text.length > 90 ? 1 : 0)), spellcheck: "false" }));
  field.value = text;
  const button = h("button", { type: "button" }, "Copy", h("span", { class: "unseen" }, ` ${label}`));
  button.addEventListener("click", () => copyFrom(field));
  return h("div", { class: "field copy" }, h("label", { for: id }, label), field, h("p", { class: "actions" }, button));
}

/** @param {HTMLTextAreaElement} field */
async function copyFrom(field) {
  try {
    await navigator.clipboard.writeText(field.value);
    tell(byId("copy-status"), "Copied.");
  } catch {
    field.focus();
    field.select();
    tell(byId("copy-status"), "This browser does not let the page copy. The text is selected: copy it with Ctrl+C, or ⌘C.");
  }
}

/** What needs nothing asked. @type {Record<string, (request: any) => Node[]>} */
const TEXTS = {
  json: (request) => [copied("JSON", asJson(request))],
  curl: (request) => [copied("Command for a POSIX shell", asCurl(request)), h("p", { class: "quiet" }, "That is the shell of Linux and macOS; on Windows it is Git Bash or WSL.")],
};

let shown = 0;

/** Nothing to copy, also from a formula that is still asked for. */
export function showNoCopies() {
  shown += 1;
  byId("copy-body").replaceChildren(h("p", { class: "empty" }, "First work out a plan."));
}

/**
 * Show the request in the form chosen.
 * @param {any} request
 * @param {any} answer to it, whose stops no formula would tell
 */
export async function showCopies(request, answer) {
  const mine = (shown += 1);
  const place = byId("copy-body");
  const kind = byId("copy-as").value;
  tell(byId("copy-status"), "");
  // the formula of an earlier plan must not be copied meanwhile
  if (!(kind in TEXTS)) place.replaceChildren(h("p", { class: "empty" }, "Asking for the formula …"));
  const parts = kind in TEXTS ? TEXTS[kind](request) : await formulas(request, answer, kind);
  if (mine === shown) place.replaceChildren(...parts);
}

/** What stops the plan, which no formula tells. @param {any} answer */
function stopsOf(answer) {
  const stops = answer.cautions.filter((/** @type {any} */ c) => c.level === "stop").map((/** @type {any} */ c) => inNames(c.text).replace(/\.$/, ""));
  return stops.length ? [h("p", { class: "notice stops" }, h("strong", {}, "The plan stops: "), `${stops.join(". ")}; the formula alone would not say so.`)] : [];
}

const allQuestions = () => h("a", { href: "v1/cell" }, "all questions for cells");

/** @param {any} request @param {any} answer @param {string} sheet @returns {Promise<Node[]>} */
async function formulas(request, answer, sheet) {
  try {
    const made = await formulaOf(request, answer, sheet);
    if ("why" in made) return [h("p", { class: "notice" }, made.why, " Copy it as JSON for a script, or ask for a part of it, one lot, one ingredient, one figure: ", allQuestions(), ".")];
    const local = /^(127\.|localhost|\[::1\])/.test(location.hostname);
    return [
      ...stopsOf(answer),
      ...(made.unlike ? [h("p", { class: "notice stops" }, h("strong", {}, "Not the amount of the plan: "), `the formula ${made.unlike}. It asks for the target alone${made.left ? `, without ${made.left}` : ""}.`)] : []),
      copied(`The amount, in ${made.unit}`, made.number),
      copied("The cautions, for the cell beside it", made.words),
      h("p", { class: "quiet" }, made.left ? `Not in the formula: ${made.left}. ` : "", sheet === "google_sheets" && local ? "Google Sheets asks from the cloud and cannot reach this machine: it needs a public address of the service. " : "", "More formulas: ", allQuestions(), "."),
    ];
  } catch (error) {
    return [h("p", { class: "notice" }, error instanceof Error ? error.message : String(error))];
  }
}
