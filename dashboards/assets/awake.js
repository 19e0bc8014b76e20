// Keeps the phone's screen on, says whether it does, and says why when the browser refuses.

import { attribute, text } from "./dom.js";

const SECURE = "This page is not secure (https), so the browser refuses to keep the screen on. Set the phone's own screen time-out to never, or open the page by the site's https address: Help, Running, says how.";
const NONE = "This browser can't keep the screen on. Set the phone's own screen time-out to never.";
const LOCKED = "A locked phone stays silent: keep this page open and in view.";

let lock = null;
let wanted = false;

export function awakeButton(button, says) {
  const refused = !window.isSecureContext ? SECURE : !navigator.wakeLock ? NONE : "";
  const show = (why = refused) => {
    attribute(button, "data-awake", lock ? "on" : why ? "refused" : "off");
    text(button, lock ? "Screen stays on" : why ? "Screen may go dark: refused" : "Screen may go dark. Tap to keep it on");
    text(says, why ? `${why} ${LOCKED}` : LOCKED);
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
      show("The phone refused to keep the screen on, perhaps to save its battery.");
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
