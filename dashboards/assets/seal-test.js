// The seal-test page: asks for a test, counts down, shows each circuit. Writes what the view says; judges nothing.

import { act } from "./act.js";
import { attribute, byId, list, make, setShape, shape, text } from "./dom.js";
import { ageNow, ageWords, start } from "./live.js";
import "./look.js";
import { paintStory } from "./story.js";
import { paintTiles } from "./tiles.js";
import { tip } from "./tips.js";

let one = null;

function paint(view) {
  attribute(byId("screen"), "data-mode", view.one ? "one" : "tiles");
  list(byId("notices"), view.notices, (words) => words, () => make("li"), text);
  text(byId("clock"), view.clock);
  paintStory(view.story);
  one = view.one ?? null;
  if (!one) {
    paintTiles(byId("tiles"), view.tiles);
    return;
  }
  const test = one.seal_test;
  attribute(byId("call"), "data-call", one.call);
  setShape(byId("call-shape"), one.call);
  text(byId("call-words"), one.headline);
  text(byId("reason"), one.reason);
  tip(byId("call-words"), `call.${one.call}`);
  tip(byId("test-word"), `seal.${test.state}`);
  tip(byId("test-left"), test.left_s === null ? null : "seal.left");
  attribute(byId("test"), "data-state", test.state);
  text(byId("test-title"), `${one.name} · ${test.title}`);
  text(byId("test-word"), test.word);
  text(byId("test-words"), test.words);
  text(byId("test-by"), test.by);
  list(byId("circuits"), test.circuits, (circuit) => circuit.id, createCircuit, paintCircuit);
  text(byId("why-not"), test.why_not);
  list(byId("starts"), test.starts, (one) => one.test, createStart, (button, said) => {
    text(button, said.words);
    button.disabled = Boolean(test.why_not);
  });
  byId("end").hidden = !test.end;
  text(byId("end"), test.end);
  list(byId("last"), test.last, (words) => words, () => make("li"), text);
  text(byId("spoken"), `${test.title}. ${test.word}. ${test.words}`);
  const title = `${test.word} · ${one.name}`;
  if (document.title !== title) document.title = title;
  tick();
}

function createStart(said) {
  const button = make("button", "wide");
  button.type = "button";
  button.addEventListener("click", () => act({ kind: "seal_test", lifter: one.lifter, params: { test: said.test } }));
  return button;
}

function createCircuit() {
  const row = make("li", "lane");
  row.shape = shape();
  row.name = make("span", "lane-name");
  row.word = make("span", "lane-word");
  row.words = make("span", "lane-words");
  row.number = make("span", "lane-number");
  row.unit = make("span", "lane-unit");
  row.age = make("span", "lane-age");
  row.append(row.shape, row.name, make("span", "lane-says", row.word, row.words), make("span", "lane-reading", row.number, row.unit, row.age));
  return row;
}

function paintCircuit(row, circuit) {
  row.said = circuit;
  attribute(row, "data-result", circuit.result);
  attribute(row, "data-state", circuit.look);
  setShape(row.shape, SHAPES[circuit.result] ?? circuit.look);
  text(row.name, circuit.id);
  text(row.word, circuit.word);
  text(row.words, circuit.words);
  text(row.number, circuit.number);
  text(row.unit, circuit.unit);
  tip(row.word, circuit.result === "none" ? `state.${circuit.look}` : `seal.${circuit.result}`);
  tip(row.number, "vacuum");
}

const SHAPES = { waiting: "building", running: "not_lifting", passed: "holding", not_passed: "land_soon" };

function tick() {
  if (!one) return;
  const leftS = one.seal_test.left_s;
  const left = byId("test-left");
  text(left, leftS === null ? "" : clock(Math.ceil(Math.max(0, leftS - ageNow(0)))));
  for (const row of byId("circuits").children) {
    const ageS = row.said.age_s === null ? null : ageNow(row.said.age_s);
    text(row.age, ageS !== null && ageS >= 1 ? ageWords(ageS) : "");
    attribute(row, "data-old", ageS === null || ageS > 3 ? "yes" : null);
  }
}

// Check: 75 is 1:15.
const clock = (seconds) => `${Math.floor(seconds / 60)}:${String(seconds % 60).padStart(2, "0")}`;

function lost() {
  one = null;
}

byId("end").addEventListener("click", () => one && act({ kind: "end_seal_test", lifter: one.lifter }));
start({ paint, tick, lost });
