// The live feed and its dead-man.
//
// One request in flight, self-clocked. What a reply shows is at most as old as (now - asked) - held + the age the server
// states, so no two clocks need agree. The cover is opaque by itself: each good reply only starts an animation that
// holds it open for what is left of the snapshot's time to live, and ends opaque without this script.

import { BUILD, renew } from "./build.js";
import { attribute, byId, text } from "./dom.js";
import { words } from "./words.js";

const ABORT_MS = 1300;
const RETRY_MS = 250;

const page = document.body.dataset.page;
const asked = new URLSearchParams(location.search);
const viewer = { page, lifter: asked.get("lifter") };

let painters = [];
let number = ""; // of the snapshot shown, as the server named it
let since = 0;
let view = null;
let snapshotAt = 0; // performance.now() at which the shown snapshot was made, at the earliest
let liveUntil = 0; // on performance.now()
let liveUntilClock = 0; // on Date.now(): a machine that slept has a performance.now() that did not
let coverUntil = 0;
let flip = false;
let running = false;

export const traces = {}; // circuit -> [[second, vacuum_kpa or null], ...]

export const isLive = () => performance.now() < liveUntil && Date.now() < liveUntilClock;

// Age now of something that was `ageS` old in the shown snapshot, s.
export const ageNow = (ageS) => ageS + (performance.now() - snapshotAt) / 1000;

export const ageWords = (ageS) => view.age_words.replace("{n}", ageS < 10 ? ageS.toFixed(1).replace(".", view.decimal_mark) : ageS.toFixed(0));

export const current = () => view;

// A painter has paint(view), tick() five times a second while live, and lost() when touch is lost.
export function start(painter) {
  painters.push(painter);
  if (!running) run();
}

async function run() {
  running = true;
  setInterval(tick, 200);
  // Hidden or frozen, a page draws nothing: what it showed must be gone before it is seen again.
  document.addEventListener("visibilitychange", () => document.hidden && drop());
  document.addEventListener("freeze", () => drop());
  window.addEventListener("pagehide", () => drop());
  window.addEventListener("pageshow", (event) => event.persisted && drop());
  for (;;) {
    if (document.hidden) await shown();
    if (!(await ask())) await new Promise((done) => setTimeout(done, RETRY_MS));
  }
}

const shown = () => new Promise((done) => document.addEventListener("visibilitychange", () => done(), { once: true }));

async function ask() {
  const nonce = Math.random().toString(36).slice(2);
  const query = new URLSearchParams({ page: viewer.page, number, since, nonce });
  if (viewer.lifter) query.set("lifter", viewer.lifter);
  const askedAt = performance.now();
  const askedClock = Date.now();
  const abort = new AbortController();
  const timer = setTimeout(() => abort.abort(), ABORT_MS);
  try {
    const reply = await fetch(`/api/live?${query}`, { signal: abort.signal, cache: "no-store" });
    const said = await reply.json();
    if (said.nonce !== nonce) return false;
    took(said, askedAt, askedClock);
    return reply.ok;
  } catch {
    return false;
  } finally {
    clearTimeout(timer);
  }
}

function took(said, askedAt, askedClock) {
  if (document.hidden) return;
  if (said.why !== undefined) {
    drop(said.why);
    return;
  }
  if (said.build !== BUILD) { // its values may mean something else than this script takes them for
    drop(words["build.other"]);
    renew(said.build);
    return;
  }
  const now = performance.now();
  const ageMs = said.age_s * 1000 + (now - askedAt) - said.held_s * 1000;
  const leftMs = said.live_for_s * 1000 - ageMs;
  if (leftMs <= 0) return;
  if (said.view) {
    number = said.number;
    view = said.view;
    keep(said.trace);
  }
  snapshotAt = now - ageMs;
  liveUntil = now + leftMs;
  liveUntilClock = askedClock + said.held_s * 1000 + said.live_for_s * 1000 - said.age_s * 1000;
  paint();
  open(leftMs);
}

function keep(news) {
  for (const [circuit, points] of Object.entries(news)) {
    const kept = (traces[circuit] ??= []);
    if (points.length && kept.length && points[0][0] <= kept[kept.length - 1][0]) kept.length = 0; // the clock was set back
    kept.push(...points);
    const newest = kept.length ? kept[kept.length - 1][0] : 0;
    while (kept.length && kept[0][0] < newest - 600) kept.shift();
    since = Math.max(since, newest);
  }
}

function paint() {
  const body = document.body.dataset;
  if (body.call !== view.call) body.call = view.call;
  if (body.release !== view.release) body.release = view.release;
  // Written now, so that it stands there when the cover comes without this script.
  text(byId("cover-do"), view.lost.do);
  text(byId("cover-why"), "");
  text(byId("cover-when"), view.lost.last);
  text(byId("cover-numbers"), view.lost.numbers);
  for (const painter of painters) painter.paint(view);
}

// Hold the cover open for `leftMs`. Two names of one animation: changing the name starts it anew without a gap.
function open(leftMs) {
  const until = performance.now() + leftMs;
  if (until - coverUntil < 150) return;
  coverUntil = until;
  flip = !flip;
  const cover = byId("cover");
  cover.style.animation = `${flip ? "hold" : "held"} ${Math.floor(leftMs)}ms linear both`;
  attribute(cover, "aria-hidden", true);
}

// Touch is lost: cover at once.
export function drop(why = "") {
  liveUntil = liveUntilClock = coverUntil = 0;
  byId("cover").style.animation = "none";
  attribute(byId("cover"), "aria-hidden", null);
  text(byId("cover-why"), why);
  const body = document.body.dataset;
  if (body.call !== "no_signal") body.call = "no_signal";
  if (body.release !== "do_not_release") body.release = "do_not_release";
  for (const painter of painters) painter.lost();
}

function tick() {
  if (isLive()) for (const painter of painters) painter.tick();
  else if (coverUntil) drop();
}
