// Keeps the phone's screen on, says whether it does, and says why when the browser refuses.

import { attribute, text } from "./dom.js";
import { words } from "./words.js";

let lock = null;
let wanted = false;

export function awakeButton(button, says) {
  const refused = !window.isSecureContext ? words["awake.secure"] : !navigator.wakeLock ? words["awake.none"] : "";
  const show = (why = refused) => {
    const state = lock ? "on" : why ? "refused" : "off";
    attribute(button, "data-awake", state);
    text(button, words[`awake.${state}`]);
    text(says, [why, words["awake.locked"]].filter(Boolean).join(" "));
  };
  const ask = async () => {
    if (refused || !wanted || document.hidden || lock) return;
    try {
      lock = await navigator.wakeLock.request("screen");
      lock.addEventListener("release", () => {
        lock = null;
        show();
      });
      show();
    } catch {
      show(words["awake.denied"]);
    }
  };
  button.addEventListener("click", () => {
    wanted = true;
    ask();
  });
  // The system takes the lock away whenever the page is hidden: ask again.
  document.addEventListener("visibilitychange", ask);
  show();
}
