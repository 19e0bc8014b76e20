// The plan page: sends what is entered, shows what the server answers. Works nothing out and judges nothing itself.

import { asPerson, post } from "./act.js";
import { attribute, byId, list, make, text } from "./dom.js";
import "./look.js";
import { drawCurve } from "./plan-curve.js";
import { drawPads } from "./plan-drawing.js";
import "./tips.js";

const KEPT = "holdwatch.plan";
const WAIT_MS = 350; // after the last key
const AGAIN_MS = 3000; // after no answer
const JUDGED_WITHIN_MS = 20000; // the server judges one plan after another, on a small box
const SPANS = ["tilt_deg", "rotation_deg"];
const FLAGS = ["coated", "porous"];

const site = JSON.parse(byId("site").textContent);
const words = JSON.parse(byId("words").textContent); // this page's own, beside what every page has
const form = byId("entries");

let lifter = null;
let pads = new Set();
let asked = 0; // number of the newest question
let shown = null; // the answer on the page
let savedAs = ""; // what was entered when it was saved
let timer = 0;

// -- what is entered

const field = (name) => form.elements.namedItem(name);

function entered() {
  const said = {};
  for (const one of form.querySelectorAll("input:not([type=checkbox]), textarea, select")) {
    const value = one.value.trim();
    if (value && !one.name.includes(".") && !["lifter", "bare_units"].includes(one.name)) said[one.name] = value;
  }
  if (said.cut_outs) said.cut_outs = said.cut_outs.split("\n").filter((line) => line.trim());
  for (const name of SPANS) {
    const ends = ["low", "high"].map((end) => field(`${name}.${end}`));
    if (ends.some((end) => end.value.trim())) said[name] = ends.map((end) => end.value.trim() || end.placeholder);
  }
  for (const name of FLAGS) if (field(name).checked) said[name] = true;
  if (lifter.pads.length && pads.size < lifter.pads.length) said.pads = lifter.pads.map((pad) => pad.id).filter((id) => pads.has(id));
  return said;
}

const question = () => ({ lifter: lifter.id, units: field("bare_units").value, entered: entered() });

const isEmpty = (said) => !["weight", "size", "outline", "makeup"].some((name) => said[name]);

function keep() {
  const values = {};
  for (const one of form.elements) if (one.name) values[one.name] = one.type === "checkbox" ? one.checked : one.value;
  localStorage.setItem(KEPT, JSON.stringify({ values, pads: [...pads] }));
}

function bring() {
  const kept = JSON.parse(localStorage.getItem(KEPT) ?? "null");
  const wanted = new URLSearchParams(location.search).get("lifter") ?? kept?.values.lifter;
  field("lifter").replaceChildren(...site.lifters.map((one) => new Option(one.name || one.id, one.id)));
  field("bare_units").value = site.units;
  for (const [name, value] of Object.entries(kept?.values ?? {})) {
    const one = field(name);
    if (one && name !== "lifter") one[one.type === "checkbox" ? "checked" : "value"] = value;
  }
  if (site.lifters.some((one) => one.id === wanted)) field("lifter").value = wanted;
  chooseLifter(kept?.values.lifter === field("lifter").value ? kept.pads : null);
  for (const more of form.querySelectorAll("details")) more.open = [...more.querySelectorAll("input, textarea")].some((one) => one.type === "checkbox" ? one.checked : one.value);
}

// -- the lifter and its pads

function chooseLifter(keptPads = null) {
  lifter = site.lifters.find((one) => one.id === field("lifter").value);
  const known = lifter.pads.map((pad) => pad.id);
  pads = new Set(keptPads ? known.filter((id) => keptPads.includes(id)) : known);
  const layouts = [[words.all_pads, known], ...Object.entries(lifter.layouts)];
  list(byId("layouts"), layouts, ([name]) => name, createLayout, (button, [name, its]) => {
    text(button, name);
    button.its = its;
  });
}

function createLayout() {
  const button = make("button");
  button.type = "button";
  button.addEventListener("click", () => {
    pads = new Set(button.its);
    changed();
  });
  return button;
}

function togglePad(id) {
  if (!pads.delete(id)) pads.add(id);
  changed();
}

function paintPads() {
  for (const button of byId("layouts").children) {
    attribute(button, "aria-pressed", button.its.length === pads.size && button.its.every((id) => pads.has(id)) ? "true" : "false");
  }
  drawPads(byId("drawing"), lifter.pads, pads, shown, words, togglePad);
}

// -- asking

function changed() {
  keep();
  asked += 1;
  clearTimeout(timer);
  if (isEmpty(entered())) {
    shown = null;
    faults([]);
    say("waiting");
  } else {
    say("working");
    timer = setTimeout(ask, WAIT_MS);
  }
  paintPads();
}

async function ask() {
  const number = asked;
  const answer = await post("/api/plan", question(), JUDGED_WITHIN_MS).catch(() => null);
  if (number !== asked) return;
  if (answer) return took(answer);
  say("lost");
  timer = setTimeout(ask, AGAIN_MS);
}

function took(answer) {
  faults(answer.faults ?? []);
  shown = answer.faults || answer.words ? null : answer;
  if (shown) paint(shown);
  else if (answer.words) say("lost", answer.words);
  else say("faulty");
  paintPads();
}

function say(state, says = words[`${state}_says`]) {
  attribute(byId("verdict"), "data-verdict", state);
  text(byId("verdict-words"), words[state]);
  text(byId("verdict-says"), says);
  attribute(byId("result"), "data-old", state === "working" ? "yes" : null);
  byId("result").hidden = !shown || state !== "working";
  byId("save").disabled = byId("print").disabled = true;
}

function faults(all) {
  for (const place of form.querySelectorAll("[data-fault]")) {
    const its = all.filter((fault) => fault.entry === place.dataset.fault);
    text(place, its.map((fault) => fault.words).join(" "));
    const entry = place.closest("[data-entry]");
    if (entry) attribute(entry, "data-wrong", its.length ? "yes" : null);
    for (const one of entry?.querySelectorAll("input, textarea, select") ?? []) attribute(one, "aria-invalid", its.length ? "true" : null);
    if (its.length) for (let more = place.closest("details"); more; more = more.parentElement.closest("details")) more.open = true;
  }
  const rest = all.filter((fault) => !form.querySelector(`[data-fault="${CSS.escape(fault.entry)}"]`));
  if (rest.length) text(byId("fault-lifter"), [byId("fault-lifter").textContent, ...rest.map((fault) => fault.words)].join(" "));
}

// -- the answer

function paint(answer) {
  attribute(byId("verdict"), "data-verdict", answer.verdict);
  text(byId("verdict-words"), answer.verdict_words);
  text(byId("verdict-says"), answer.verdict_says);
  attribute(byId("result"), "data-old", null);
  byId("result").hidden = false;
  byId("save").disabled = byId("print").disabled = false;
  pairs("figures", answer.figures);
  for (const part of ["reasons", "notes", "checks"]) list(byId(part), answer[part], (one) => one, () => make("li"), text);
  list(byId("circuits"), answer.circuits, (one) => one.id, createCircuit, paintCircuit);
  text(byId("pads-say"), answer.pads_say);
  drawCurve(byId("curve"), answer.curve);
  pairs("entered", enteredPairs());
  paintSaved();
}

function pairs(place, rows) {
  list(byId(place), rows, (row) => row.label, () => make("div", "", make("dt"), make("dd")), (row, said) => {
    text(row.children[0], said.label);
    text(row.children[1], said.value);
    attribute(row.children[1], "data-say", said.tip);
    attribute(row.children[1], "tabindex", said.tip ? 0 : null);
  });
}

function createCircuit() {
  return make("tr", "", make("th"), make("td"), make("td"), make("td"));
}

function paintCircuit(row, circuit) {
  text(row.children[0], circuit.id);
  text(row.children[1], circuit.needed);
  text(row.children[2], circuit.judged);
  text(row.children[3], circuit.lost);
  attribute(row.children[1], "data-bad", circuit.short ? "yes" : null);
  attribute(row.children[3], "data-bad", circuit.falls ? "yes" : null);
}

// Labels and values as they stand in the form, for the printed sheet.
function enteredPairs() {
  const rows = [...form.querySelectorAll("[data-entry]")].map((entry) => {
    const label = entry.querySelector("label, .label").textContent.trim();
    const values = [...entry.querySelectorAll("input:not([type=checkbox]), textarea, select")].map((one) => (one.localName === "select" ? one.selectedOptions[0]?.text : one.value.trim())).filter(Boolean);
    const within = entry.closest("details")?.querySelector("summary").textContent;
    const ticked = entry.querySelector("input[type=checkbox]")?.checked;
    return { label: within ? `${within}: ${label}` : label, value: ticked ? "×" : values.join(entry.querySelector(".ends") ? " – " : " / ") };
  });
  return [...rows.filter((row) => row.value), { label: byId("layouts").previousElementSibling.textContent, value: lifter.pads.map((pad) => pad.id).filter((id) => pads.has(id)).join(", ") }];
}

// -- saving and printing

// What the next lift is judged against, as the engine says it: whoever plans next has to know.
async function paintInForce() {
  const reply = await fetch(`/api/planned?lifter=${encodeURIComponent(lifter.id)}`, { cache: "no-store" }).catch(() => null);
  const said = reply?.ok ? (await reply.json()).words : "";
  byId("in-force").hidden = !said;
  text(byId("in-force-says"), said);
}

async function withdraw() {
  await asPerson("/api/actions", { kind: "plan", lifter: lifter.id, params: { withdraw: true } });
  savedAs = "";
  if (shown) paintSaved();
  await paintInForce();
}

async function save() {
  const body = question();
  const answer = await asPerson("/api/plan", { ...body, save: true });
  if (!answer?.done) return;
  savedAs = JSON.stringify(body);
  byId("saved-says").saved = words.saved.replace("{clock}", answer.clock).replace("{lifter}", lifter.name || lifter.id);
  paintSaved();
  await paintInForce();
}

function paintSaved() {
  const isSaved = savedAs === JSON.stringify(question());
  const place = byId("saved-says");
  text(place, isSaved ? place.saved : words.unsaved);
  attribute(place, "data-saved", isSaved ? "yes" : null);
  byId("next").hidden = !isSaved;
  byId("next").href = `/seal-test?lifter=${encodeURIComponent(lifter.id)}`;
}

window.addEventListener("beforeprint", () => {
  byId("print-drawing").replaceChildren(...[...byId("drawing").children].map((one) => one.cloneNode(true)));
  text(byId("printed"), words.printed.replace("{clock}", new Date().toLocaleString()));
});

function begin() {
  if (!site.lifters.length) {
    byId("plan-none").hidden = false;
    form.hidden = byId("answer-part").hidden = true;
    setTimeout(() => location.reload(), 2000);
    return;
  }
  bring();
  form.addEventListener("input", (event) => {
    if (event.target.name === "lifter") {
      shown = null;
      chooseLifter();
      paintInForce();
    }
    changed();
  });
  form.addEventListener("submit", (event) => event.preventDefault());
  byId("save").addEventListener("click", save);
  byId("withdraw").addEventListener("click", withdraw);
  byId("print").addEventListener("click", () => print());
  changed();
  paintInForce();
  setInterval(paintInForce, 10000);
}

begin();
