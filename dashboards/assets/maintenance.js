// Maintenance: figures in this device's colours, a press on a point opens its lift, and a service can be noted.

import "./look.js";
import { byId, make, text } from "./dom.js";
import { person } from "./who.js";
import { words } from "./words.js";

const CHOICES = { displaylogo: false, responsive: true };

function colours() {
  const style = getComputedStyle(document.documentElement);
  return ["--fg", "--line"].map((name) => style.getPropertyValue(name).trim());
}

function coloured(layout) {
  const [color, gridcolor] = colours();
  layout.font.color = color;
  for (const axis of [layout.xaxis, layout.yaxis]) Object.assign(axis, { gridcolor, linecolor: gridcolor, zerolinecolor: gridcolor });
  return layout;
}

function recolour() {
  for (const place of document.querySelectorAll(".js-plotly-plot")) window.Plotly.react(place, place.data, coloured(place.layout), CHOICES);
}

// A window that is not in view draws no frames; its figures need not wait for them.
const painted = () => new Promise((done) => { requestAnimationFrame(() => setTimeout(done)); setTimeout(done, 200); });

// The library is fetched with the page and run once the list is seen.
async function plotting() {
  await painted();
  const script = make("script");
  script.src = byId("plotting").href;
  const loaded = new Promise((done, failed) => { script.onload = done; script.onerror = failed; });
  document.head.append(script);
  await loaded;
}

// One after the other, so that the list and the figures above are seen while those below are drawn.
async function draw(places) {
  if (places.length) await plotting();
  for (const place of places) {
    const figure = JSON.parse(place.dataset.figure);
    place.removeAttribute("data-figure");
    await plot(place, figure).catch(console.error); // the next are drawn all the same
    await painted();
  }
}

async function plot(place, figure) {
  await window.Plotly.newPlot(place, figure.data, coloured(figure.layout), CHOICES);
  place.on("plotly_click", ({ points }) => {
    const lift = points[0]?.customdata;
    if (lift) location.assign(`/lifts?id=${encodeURIComponent(lift)}`);
  });
}

// The browser's own date field: the page framework has none that needs no code of its own.
function dates() {
  for (const place of document.querySelectorAll(".date-place")) {
    const field = make("input");
    field.type = "date";
    field.name = place.dataset.name;
    field.value = place.dataset.value;
    place.append(field);
  }
}

async function note(form) {
  const said = new FormData(form);
  const answer = byId("note-answer");
  try {
    const who = await person();
    if (!who) return;
    text(answer, words["act.sending"]);
    const reply = await fetch("/api/actions", {
      method: "POST",
      headers: { "Content-Type": "application/json" },
      body: JSON.stringify({ kind: "service_note", lifter: form.dataset.lifter, who: who.who, role: who.role, params: { about: said.get("about"), note: said.get("note") } }),
      signal: AbortSignal.timeout(6000),
    });
    text(answer, (await reply.json()).words);
    if (reply.ok) form.reset();
  } catch {
    text(answer, words["act.no_answer"]);
  }
}

document.addEventListener("submit", (event) => {
  if (event.target.id !== "note-form") return;
  event.preventDefault();
  note(event.target);
});
document.addEventListener("click", (event) => {
  if (event.target.id === "look") recolour();
});
matchMedia("(prefers-color-scheme: dark)").addEventListener("change", recolour);
dates();
draw(document.querySelectorAll(".trend-graph"));
