// What a state or a number means, and what to do, in one sentence: on a tap, or Enter where the keyboard is.
//
// `data-tip` names the words; `data-say` carries them. The next tap, Escape or a quarter of a minute takes them away.

import { attribute, byId, make, text } from "./dom.js";
import { words } from "./words.js";

const FOR_MS = 15000;

export function tip(element, name) {
  attribute(element, "data-tip", name);
  attribute(element, "tabindex", name ? 0 : null);
}

let timer = 0;

function show(element) {
  const said = element?.dataset.say ?? words[`tip.${element?.dataset.tip}`] ?? "";
  const place = byId("tip") ?? document.body.appendChild(Object.assign(make("p"), { id: "tip", role: "status" }));
  clearTimeout(timer);
  const again = said && !place.hidden && place.textContent === said;
  place.hidden = !said || again;
  text(place, place.hidden ? "" : said);
  if (!place.hidden) timer = setTimeout(() => show(null), FOR_MS);
}

const TIPPED = "[data-tip], [data-say]";

document.addEventListener("click", (event) => {
  if (!event.target.closest("button, a, dialog, input, select")) show(event.target.closest(TIPPED));
});
document.addEventListener("keydown", (event) => {
  if (event.key === "Escape") show(null);
  if ((event.key === "Enter" || event.key === " ") && event.target.matches(TIPPED)) {
    event.preventDefault();
    show(event.target);
  }
});
