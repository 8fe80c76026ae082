// What has to change: said beside each field, and together above the form, with the way to each field.

import { byId, h } from "./dom.js";
import { inNames } from "./names.js";

/** @typedef {{field: HTMLElement | null, detail: string}} Placed */

/** Take all marks away. */
export function noFaults() {
  byId("problems").hidden = true;
  for (const field of document.querySelectorAll("[aria-invalid]")) {
    field.removeAttribute("aria-invalid");
    const fault = document.getElementById(`${field.id}-fault`);
    if (!fault) continue;
    const described = (field.getAttribute("aria-describedby") ?? "").split(" ").filter((id) => id && id !== fault.id);
    if (described.length) field.setAttribute("aria-describedby", described.join(" "));
    else field.removeAttribute("aria-describedby");
    fault.remove();
  }
}

/** @param {HTMLElement} field @param {string} detail */
function mark(field, detail) {
  field.setAttribute("aria-invalid", "true");
  const id = `${field.id}-fault`;
  const there = document.getElementById(id);
  if (there) {
    there.textContent += ` ${detail}`;
    return;
  }
  (field.closest(".field") ?? field.parentElement)?.append(h("p", { class: "fault", id }, detail));
  field.setAttribute("aria-describedby", `${field.getAttribute("aria-describedby") ?? ""} ${id}`.trim());
  for (let more = field.closest("details"); more; more = more.parentElement?.closest("details") ?? null) more.open = true;
}

/** What a field is called: its label, and the row it stands in. @param {HTMLElement} field */
function nameOf(field) {
  const label = document.querySelector(`label[for="${field.id}"]`);
  const words = [...(label?.childNodes ?? [])].filter((n) => n.nodeType === Node.TEXT_NODE).map((n) => n.textContent).join("").trim();
  const row = field.closest(".row")?.querySelector("legend")?.textContent;
  return row ? `${row}, ${words.replace(/^[A-Z](?=[a-z])/, (first) => first.toLowerCase())}` : words || field.getAttribute("aria-label") || "this field";
}

/** A fault in the list, and at its field. @param {Placed} fault */
function listed({ field, detail: told }) {
  const detail = inNames(told);
  if (!field) return h("li", {}, detail);
  mark(field, detail);
  const jump = (/** @type {Event} */ event) => {
    event.preventDefault();
    field.focus();
    field.scrollIntoView({ block: "center" });
  };
  return h("li", {}, h("a", { href: `#${field.id}`, on: { click: jump } }, nameOf(field)), ": ", detail);
}

/** Show further faults without moving the reader. @param {Placed[]} faults */
export const addFaults = (faults) => byId("problems-list").append(...faults.map(listed));

/**
 * Show faults, and put the reader before them.
 * @param {Placed[]} faults
 */
export function showFaults(faults) {
  noFaults();
  byId("problems-list").replaceChildren(...faults.map(listed));
  byId("problems").hidden = false;
  byId("problems").focus();
  byId("problems").scrollIntoView({ block: "start" });
}

/**
 * The field that stands behind a place of the request: its own, or that of the nearest place around it.
 * @param {Map<string, HTMLElement>} places
 * @param {string} pointer
 * @returns {HTMLElement | null}
 */
export function fieldAt(places, pointer) {
  for (let here = pointer; here; here = here.slice(0, here.lastIndexOf("/"))) {
    const own = places.get(here) ?? [...places].find(([place]) => place.startsWith(`${here}/`))?.[1];
    if (own) return own;
  }
  return null;
}
