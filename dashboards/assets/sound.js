// Sound, with vibration beside it. Off, and loudly said to be off, until someone taps: browsers allow no sound before.
//
// Pulse patterns by priority after the model of IEC 60601-1-8 (a medical standard, taken as a pattern only): high is two
// bursts of five pulses, medium three pulses, low two; a fundamental between 150 and 1000 Hz and four harmonics above it, all
// under 4000 Hz and within 15 dB.

import { attribute, text } from "./dom.js";
import { vibrate } from "./vibration.js";
import { words } from "./words.js";

export const HARMONICS = [1, 0.7, 0.6, 0.5, 0.4];
export const PATTERNS = {
  high: { pulses: [0, 0.2, 0.4, 0.75, 0.95, 1.6, 1.8, 2.0, 2.35, 2.55], length: 0.13, hz: 640, everyMs: 5000 },
  medium: { pulses: [0, 0.32, 0.64], length: 0.18, hz: 520, everyMs: 9000 },
  low: { pulses: [0, 0.35], length: 0.18, hz: 440, everyMs: 30000 },
};
const ORDER = ["none", "low", "medium", "high"];
const SILENCE_MS = 60000;

let context = null;
let buttons = [];
let now = { level: "none", hush: true, about: [] };
let silence = null; // {until, level, about}: what has been heard
let lostLevel = "none";
let last = { level: "none", at: -Infinity };

export function soundButton(button) {
  buttons.push(button);
  button.addEventListener("click", () => (isOn() ? hush() : switchOn()));
  show();
}

export function paintSound(sound) {
  now = sound;
  lostLevel = sound.lost;
  play();
}

export function soundLost() {
  now = { level: lostLevel, hush: true, about: ["page_lost"] };
  play();
}

const isOn = () => context !== null && context.state === "running";

// In the tap's own handler: that is what browsers ask for.
async function switchOn() {
  context ??= new AudioContext();
  vibrate(PATTERNS.low);
  await context.resume();
  sound(PATTERNS.low);
  context.onstatechange = show;
  show();
}

// "I heard it": quiet for a minute, on this device only, ended by anything new or worse. Never for "land now".
function hush() {
  if (!now.hush || now.level === "none") sound(PATTERNS.low);
  else silence = { until: Date.now() + SILENCE_MS, level: now.level, about: new Set(now.about) };
  show();
}

function isHushed() {
  if (!silence || !now.hush || Date.now() > silence.until) return false;
  return ORDER.indexOf(now.level) <= ORDER.indexOf(silence.level) && now.about.every((one) => silence.about.has(one));
}

function play() {
  if (silence && !isHushed()) silence = null;
  show();
  const pattern = PATTERNS[now.level];
  if (!pattern || isHushed()) {
    last = { level: "none", at: -Infinity };
    return;
  }
  if (last.level === now.level && performance.now() - last.at < pattern.everyMs) return;
  last = { level: now.level, at: performance.now() };
  sound(pattern);
  vibrate(pattern);
}

function sound(pattern) {
  if (!isOn()) return;
  const wave = context.createPeriodicWave(new Float32Array(HARMONICS.length + 1), new Float32Array([0, ...HARMONICS]));
  for (const at of pattern.pulses) {
    const begin = context.currentTime + 0.02 + at;
    const tone = new OscillatorNode(context, { frequency: pattern.hz });
    tone.setPeriodicWave(wave);
    const loud = new GainNode(context, { gain: 0 });
    loud.gain.setValueAtTime(0, begin);
    loud.gain.linearRampToValueAtTime(0.5, begin + 0.02);
    loud.gain.setValueAtTime(0.5, begin + pattern.length - 0.03);
    loud.gain.linearRampToValueAtTime(0, begin + pattern.length);
    tone.connect(loud).connect(context.destination);
    tone.start(begin);
    tone.stop(begin + pattern.length);
  }
}

function show() {
  const state = !isOn() ? "off" : isHushed() ? "hushed" : "on";
  const said = state !== "on" ? state : now.level === "none" || !now.hush ? "test" : "hush";
  for (const button of buttons) {
    attribute(button, "data-sound", state);
    text(button, words[`sound.${said}`]);
  }
}

setInterval(play, 1000);
