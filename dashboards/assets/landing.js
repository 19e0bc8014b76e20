// The landing page: the release answer first, then what is still on the lifter. Writes what the view says.

import { alarmRows } from "./alarm-rows.js";
import { attribute, byId, list, make, setShape, shape, text } from "./dom.js";
import { awakeButton } from "./awake.js";
import { ageNow, ageWords, start } from "./live.js";
import "./look.js";
import { paintSound, soundButton, soundLost } from "./sound.js";
import { paintStory } from "./story.js";
import { paintTell } from "./tell.js";
import { tip } from "./tips.js";
import { paintTiles } from "./tiles.js";
import { vibrationSays } from "./vibration.js";

let one = null;

function paint(view) {
  attribute(byId("screen"), "data-mode", view.one ? "one" : "tiles");
  list(byId("notices"), view.notices, (words) => words, () => make("li"), text);
  text(byId("clock"), view.clock);
  paintStory(view.story);
  paintSound(view.sound);
  one = view.one ?? null;
  if (!one) {
    byId("tell").hidden = true;
    paintTiles(byId("tiles"), view.tiles);
    return;
  }
  attribute(byId("release"), "data-release", one.release.look);
  setShape(byId("release-shape"), one.release.look === "not_attached" ? "not_lifting" : one.release.look);
  text(byId("release-words"), one.release.words || one.headline);
  text(byId("release-reason"), one.release.reason);
  text(byId("load-words"), one.landing.kg);
  text(byId("load-rule"), one.landing.rule);
  attribute(byId("call"), "data-call", one.call);
  setShape(byId("call-shape"), one.call);
  text(byId("call-words"), one.headline);
  text(byId("reason"), one.reason);
  tip(byId("call-words"), `call.${one.call}`);
  tip(byId("release-words"), one.release.look === "not_attached" ? null : `release.${one.release.look}`);
  tip(byId("load-words"), "load");
  list(byId("circuits"), one.circuits, (circuit) => circuit.id, createLane, paintLane);
  paintTell(byId("tell"), byId("tells"), one);
  alarmRows(byId("alarms"), one);
  text(byId("spoken"), `${one.release.words || one.headline}. ${one.headline}.`);
  const title = `${one.release.words || one.headline} · ${one.name}`;
  if (document.title !== title) document.title = title;
  tick();
}

function createLane() {
  const lane = make("li", "lane");
  lane.shape = shape();
  lane.word = make("span", "lane-word");
  lane.words = make("span", "lane-words");
  lane.number = make("span", "lane-number");
  lane.unit = make("span", "lane-unit");
  lane.age = make("span", "lane-age");
  lane.append(lane.shape, make("span", "lane-says", lane.word, lane.words), make("span", "lane-reading", lane.number, lane.unit, lane.age));
  return lane;
}

function paintLane(lane, circuit) {
  lane.said = circuit;
  attribute(lane, "data-state", circuit.state);
  setShape(lane.shape, circuit.state);
  text(lane.word, `${circuit.id} ${circuit.word}`);
  text(lane.words, circuit.words);
  text(lane.number, circuit.number);
  tip(lane.word, `state.${circuit.state}`);
  tip(lane.number, "vacuum");
  text(lane.unit, circuit.unit);
}

function tick() {
  if (!one) return;
  for (const lane of byId("circuits").children) {
    const ageS = lane.said.age_s === null ? null : ageNow(lane.said.age_s);
    text(lane.age, ageS !== null && ageS >= 1 ? ageWords(ageS) : "");
    attribute(lane, "data-old", ageS === null || ageS > 3 ? "yes" : null);
  }
}

function lost() {
  one = null;
  soundLost();
}

soundButton(byId("sound"));
vibrationSays(byId("vibration"));
awakeButton(byId("awake"), byId("device-says"));
start({ paint, tick, lost });
