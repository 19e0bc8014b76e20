// Light, dark, or for bright sun: kept on this device. Without a choice the device's own setting decides.

import { byId, text } from "./dom.js";
import "./speak.js";
import { words } from "./words.js";

const LOOK = "holdwatch.look";
const LOOKS = ["", "light", "dark", "sun"];

function apply(look) {
  if (look) document.documentElement.dataset.look = look;
  else delete document.documentElement.dataset.look;
  text(byId("look"), words[`look.${look || "device"}`]);
}

let look = localStorage.getItem(LOOK) ?? "";
if (!LOOKS.includes(look)) look = "";
apply(look);

document.addEventListener("click", (event) => {
  if (event.target.id !== "look") return;
  look = LOOKS[(LOOKS.indexOf(look) + 1) % LOOKS.length];
  localStorage.setItem(LOOK, look);
  apply(look);
});

// The button may be drawn after this script ran.
new MutationObserver((_, watch) => {
  if (!byId("look")) return;
  apply(look);
  watch.disconnect();
}).observe(document.body, { childList: true, subtree: true });
