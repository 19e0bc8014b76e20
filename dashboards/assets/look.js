// Light, dark, or for bright sun: kept on this device. Without a choice the device's own setting decides.

import { byId, text } from "./dom.js";

const LOOK = "holdwatch.look";
const LOOKS = { "": "Look: as the device", light: "Look: light", dark: "Look: dark", sun: "Look: bright sun" };

function apply(look) {
  if (look) document.documentElement.dataset.look = look;
  else delete document.documentElement.dataset.look;
  text(byId("look"), LOOKS[look]);
}

let look = localStorage.getItem(LOOK) ?? "";
if (!(look in LOOKS)) look = "";
apply(look);

document.addEventListener("click", (event) => {
  if (event.target.id !== "look") return;
  const all = Object.keys(LOOKS);
  look = all[(all.indexOf(look) + 1) % all.length];
  localStorage.setItem(LOOK, look);
  apply(look);
});

// The button may be drawn after this script ran.
new MutationObserver((_, watch) => {
  if (!byId("look")) return;
  apply(look);
  watch.disconnect();
}).observe(document.body, { childList: true, subtree: true });
