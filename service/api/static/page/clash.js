// Targets that clash: why, and each way out with a button that takes it.

import { h } from "./dom.js";
import { calledName, inNames } from "./names.js";
import { propertyWords } from "./words.js";

/** A member of a conflict as one says it. @param {string} member */
function memberWords(member) {
  const [kind, ...rest] = member.split(" of ");
  if (!rest.length) return propertyWords(member);
  const name = calledName(rest.join(" of "));
  return { use: `all of ${name}`, stock: `at most so much of ${name}`, least: `at least so much of ${name}`, packs: `whole packs of ${name}`, amount: `the fixed amount of ${name}` }[kind] ?? `${kind} of ${name}`;
}

/** What taking a way would do. @param {any} way */
function wayWords(way) {
  const [kind, ...rest] = way.member.split(" of ");
  if (!rest.length) return `${propertyWords(way.member)}: accept ${way.to.replace(/^an? [a-z ]+ of (?=\d)/i, "").replace(/ of [a-z ]+$/i, "")}`;
  const name = calledName(rest.join(" of "));
  return {
    least: `${name}: no more than ${way.to} has to go in`,
    packs: `${name}: ${way.to}, not in whole packs`,
    stock: `${name}: up to ${way.to}`,
    use: `${name}: use ${way.to}`,
  }[kind] ?? `${name}: ${way.to}`;
}

/** Why targets clash, without what would do instead. @param {{text: string}} clash */
export const reasonOf = (clash) => inNames(clash.text.replace(/ (?:Any one of these alone|This) would do:.*?(?= Volumes are those of the blend|$)/s, ""));

/**
 * The clash of an answer.
 * @param {any} answer
 * @param {{take: (way: any) => boolean, add: (id: string) => void}} does
 * @returns {HTMLElement | null}
 */
export function clashView(answer, does) {
  const clash = answer.clash;
  if (!clash) return null;
  const ways = clash.relax.map((/** @type {any} */ way) => wayItem(wayWords(way), "Take this", (button) => {
    if (!does.take(way)) button.replaceWith(h("span", { class: "quiet" }, "change it in the form above"));
  }));
  const help = clash.helpful_ingredients.map((/** @type {any} */ one) =>
    wayItem(`about ${one.amount_text ?? `${one.mass_g} g`} of ${calledName(one.ingredient)}`, "Add it", () => does.add(one.ingredient)));
  return h(
    "div",
    { class: "clash" },
    h("h3", {}, "Why not everything at once"),
    h("p", {}, ways.length ? reasonOf(clash) : inNames(clash.text)),
    clash.conflict.length > 1 ? h("p", { class: "quiet" }, `In each other’s way: ${clash.conflict.map(memberWords).join("; ")}.`) : null,
    ways.length ? h("p", {}, ways.length > 1 ? "Any one of these alone would do:" : "This would do:") : null,
    ways.length ? h("ul", { class: "ways" }, ...ways) : null,
    help.length ? h("p", {}, "Or put in:") : null,
    help.length ? h("ul", { class: "ways" }, ...help) : null,
  );
}

/** @param {string} words @param {string} label @param {(button: HTMLElement) => void} taken */
function wayItem(words, label, taken) {
  const button = h("button", { type: "button", class: "plain" }, label, h("span", { class: "unseen" }, `: ${words}`));
  button.addEventListener("click", () => taken(button));
  return h("li", {}, h("span", {}, words), " ", button);
}
