// Vibration beside the sound, and a word on whether this phone does it.

import { attribute, text } from "./dom.js";
import { words } from "./words.js";

let place = null;
let took = null; // what the browser answered last: true, false, or null while not asked

export function vibrationSays(element) {
  place = element;
  show();
}

// Browsers allow it only after a tap on the page.
export function vibrate(pattern) {
  if (!navigator.vibrate || !navigator.userActivation?.hasBeenActive) return;
  took = navigator.vibrate(pattern.pulses.flatMap(() => [1000 * pattern.length, 120]));
  show();
}

function show() {
  if (!place) return;
  const refused = window.isSecureContext ? "none" : "secure";
  const state = !navigator.vibrate ? refused : took === null ? "off" : took ? "on" : "denied";
  attribute(place, "data-vibration", state);
  text(place, words[`vibration.${state}`]);
}
