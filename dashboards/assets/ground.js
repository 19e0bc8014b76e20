// The ground screen: writes what the view says into the places the layout made. Decides nothing.

import { alarmRows } from "./alarm-rows.js";
import { attribute, byId, list, make, setShape, shape, text } from "./dom.js";
import { joinButton } from "./join.js";
import { ageNow, ageWords, start, traces } from "./live.js";
import "./look.js";
import { paintSound, soundButton, soundLost } from "./sound.js";
import { paintStory } from "./story.js";
import { tip } from "./tips.js";
import { createTrace, drawTrace } from "./trace.js";
import { paintTiles } from "./tiles.js";

let one = null;
let drawn = -1;

function paint(view) {
  const screen = byId("screen");
  attribute(screen, "data-mode", view.one ? "one" : "tiles");
  attribute(screen, "data-story", view.story ? "on" : null);
  attribute(screen, "data-lifter", view.one?.lifter);
  list(byId("notices"), view.notices, (words) => words, () => make("li"), text);
  text(byId("clock"), view.clock);
  paintStory(view.story);
  paintSound(view.sound);
  one = view.one ?? null;
  if (one) paintOne(one, view.others);
  else paintTiles(byId("tiles"), view.tiles);
  const first = one ?? view.tiles[0];
  const title = `${first.headline} · ${first.name}`;
  if (document.title !== title) document.title = title;
  text(byId("spoken"), `${first.headline}. ${first.release.words}`);
}

function paintOne(one, others) {
  attribute(byId("call"), "data-call", one.call);
  setShape(byId("call-shape"), one.call);
  text(byId("call-words"), one.headline);
  text(byId("reason"), one.reason);
  tip(byId("call-words"), `call.${one.call}`);
  tip(byId("release-words"), one.release.look === "not_attached" ? null : `release.${one.release.look}`);
  attribute(byId("release"), "data-release", one.release.look);
  setShape(byId("release-shape"), one.release.look);
  text(byId("release-words"), one.release.words);
  text(byId("release-reason"), one.release.reason);
  list(byId("first"), one.first, (step) => step, () => make("li"), text);
  attribute(byId("screen"), "data-first", one.first.length ? "yes" : null);
  paintLoad(one.load);
  const lanes = byId("circuits");
  attribute(lanes, "data-count", one.circuits.length);
  list(lanes, one.circuits, (circuit) => circuit.id, createLane, paintLane);
  list(byId("facts"), one.facts, (fact) => fact.key, createFact, paintFact);
  paintAlarms(one);
  text(byId("join"), one.phone.button);
  paintTiles(byId("others"), others);
  const second = Math.floor(performance.now() / 1000);
  if (second !== drawn) {
    drawn = second;
    for (const lane of lanes.children) drawTrace(lane.trace, traces[lane.dataset.key] ?? [], lane.said.trace);
  }
  fit();
  tick();
}

function paintLoad(load) {
  for (const name of ["load", "margin", "limit"]) tip(byId(`${name}-words`), name);
  attribute(byId("load"), "data-look", load.look);
  text(byId("load-words"), load.load);
  text(byId("margin-words"), load.margin);
  text(byId("limit-words"), load.limit ?? "");
  text(byId("load-note"), load.note ?? "");
  byId("bar-load").style.width = `${100 * load.load_ratio}%`;
  byId("bar-limit").style.left = `${100 * load.limit_ratio}%`;
}

function createLane() {
  const lane = make("li", "lane");
  lane.shape = shape();
  lane.name = make("span", "lane-name");
  lane.word = make("span", "lane-word");
  lane.trace = createTrace();
  lane.number = make("span", "lane-number");
  lane.unit = make("span", "lane-unit");
  lane.rate = make("span", "lane-rate");
  lane.age = make("span", "lane-age");
  lane.time = make("span", "lane-time");
  lane.words = make("span", "lane-words");
  lane.append(
    lane.shape, lane.name, lane.word, lane.trace,
    make("div", "lane-reading", make("span", "lane-value", lane.number, lane.unit), lane.rate, lane.age),
    make("div", "lane-ahead", lane.time, lane.words),
  );
  return lane;
}

function paintLane(lane, circuit) {
  lane.said = circuit;
  attribute(lane, "data-state", circuit.state);
  setShape(lane.shape, circuit.state);
  text(lane.name, circuit.id);
  attribute(lane.name, "aria-label", circuit.name);
  text(lane.word, circuit.word);
  text(lane.number, circuit.number);
  text(lane.unit, circuit.unit);
  text(lane.rate, circuit.rate);
  text(lane.time, circuit.time);
  tip(lane.word, `state.${circuit.state}`);
  tip(lane.number, "vacuum");
  tip(lane.rate, circuit.rate && "rate");
  tip(lane.time, circuit.time && "time");
  tip(lane.trace, "trace");
  text(lane.words, circuit.words);
}

function createFact() {
  const fact = make("div", "fact");
  fact.label = make("dt");
  fact.value = make("dd");
  fact.append(fact.label, fact.value);
  return fact;
}

function paintFact(element, fact) {
  element.said = fact;
  text(element.label, fact.label);
  tip(element.value, fact.key);
  if (fact.value !== null) text(element.value, fact.value);
}

function paintAlarms(one) {
  alarmRows(byId("alarms"), one);
  text(byId("more"), one.more);
}

// What matters stays on one screen: where the words are long, the small print gives way, step by step.
let fitted = "";

function fit() {
  const screen = byId("screen");
  const shown = one ? [one.headline, one.reason, one.circuits.length, one.alarms.length] : [];
  const around = ["notices", "join", "sound"].map((id) => byId(id).textContent);
  const key = JSON.stringify([...shown, screen.dataset.story, ...around, innerWidth, innerHeight, document.fonts.status]);
  if (key === fitted) return;
  fitted = key;
  for (let step = 0; step <= 5; step++) {
    attribute(screen, "data-tight", step);
    if (screen.scrollHeight <= screen.clientHeight + 1) return;
  }
}

// Ages grow between snapshots too.
function tick() {
  if (!one) return;
  for (const lane of byId("circuits").children) {
    const ageS = lane.said.age_s === null ? null : ageNow(lane.said.age_s);
    text(lane.age, ageS === null ? "" : ageS >= 1 ? ageWords(ageS) : "");
    attribute(lane, "data-old", ageS === null || ageS > 3 ? "yes" : null);
  }
  for (const fact of byId("facts").children) {
    if (fact.said.value === null) text(fact.value, fact.said.age_s === null ? "–" : ageWords(ageNow(fact.said.age_s)));
  }
}

function lost() {
  one = null;
  soundLost();
}

function ready() {
  byId("more").addEventListener("click", () => byId("below").toggleAttribute("data-all"));
  soundButton(byId("sound"));
  joinButton(byId("join"));
  start({ paint, tick, lost });
}

// The layout is drawn by Dash; begin when it stands.
if (byId("screen")) ready();
else {
  const watch = new MutationObserver(() => {
    if (!byId("screen")) return;
    watch.disconnect();
    ready();
  });
  watch.observe(document.body, { childList: true, subtree: true });
}
