// Ten minutes of one circuit, its warning level, and where it is heading: drawn as SVG, stretched by its box.

import { attribute, make, svg, text } from "./dom.js";

const PAST_S = 600;
const GAP_S = 3; // points further apart are not joined
const WIDE = 1000;
const HIGH = 100;

export function createTrace() {
  const drawing = svg("svg", { class: "trace-drawing", viewBox: `0 0 ${WIDE} ${HIGH}`, preserveAspectRatio: "none", "aria-hidden": "true" });
  const parts = {};
  for (const [name, tag] of [["ahead", "rect"], ["under", "rect"], ["fan", "path"], ["land", "path"], ["needed", "path"], ["warning", "path"], ["likely", "path"], ["past", "path"], ["now", "path"]]) {
    parts[name] = svg(tag, { class: `trace-${name}` });
    drawing.append(parts[name]);
  }
  const label = make("span", "trace-label");
  const land = make("span", "trace-label trace-land-label");
  const box = make("div", "trace", drawing, label, land);
  box.land = land;
  box.parts = parts;
  box.label = label;
  return box;
}

export function drawTrace(box, points, said) {
  const parts = box.parts;
  const aheadS = Math.min(900, Math.max(300, 2 * (said.land_s ?? 150)));
  const newest = points.length ? points[points.length - 1][0] : 0;
  const top = Math.max(said.high_kpa, ...points.map((point) => (point[1] ?? 0) + 1));
  const x = (s) => (WIDE * (s - newest + PAST_S)) / (PAST_S + aheadS);
  const y = (kpa) => Math.max(-5, Math.min(HIGH + 5, (HIGH * (top - kpa)) / (top - said.low_kpa)));
  const across = (kpa) => `M0 ${y(kpa).toFixed(2)}H${WIDE}`;

  const nowX = x(newest);
  box_(parts.ahead, nowX, 0, WIDE - nowX, HIGH);
  box_(parts.under, 0, y(said.governs_kpa), WIDE, HIGH);
  attribute(parts.warning, "d", across(said.warning_kpa));
  attribute(parts.needed, "d", said.needed_kpa === null ? null : across(said.needed_kpa));
  attribute(parts.now, "d", `M${nowX.toFixed(1)} 0V${HIGH}`);
  attribute(parts.land, "d", said.land_s === null ? null : `M${x(newest + said.land_s).toFixed(1)} 0V${HIGH}`);
  attribute(parts.past, "d", line(points, x, y));
  attribute(parts.fan, "d", fan(said, newest, x, y));
  attribute(parts.likely, "d", likely(said, newest, x, y));
  text(box.land, said.land_s === null ? "" : said.land_words);
  box.land.style.left = `${(x(newest + (said.land_s ?? 0)) / 10).toFixed(1)}%`;
  text(box.label, said.warning_words);
  box.label.style.top = `${y(said.warning_kpa).toFixed(1)}%`;
}

function box_(element, left, top, width, height) {
  for (const [name, value] of Object.entries({ x: left, y: top, width: Math.max(0, width), height })) attribute(element, name, value.toFixed(2));
}

function line(points, x, y) {
  let path = "";
  let last = null;
  for (const [second, kpa] of points) {
    if (kpa === null) {
      last = null;
      continue;
    }
    path += `${last !== null && second - last <= GAP_S ? "L" : "M"}${x(second).toFixed(1)} ${y(kpa).toFixed(2)}`;
    last = second;
  }
  return path;
}

// From now to the level it may reach, between the early and the late bound.
function fan(said, newest, x, y) {
  const ahead = said.ahead;
  if (!ahead || ahead.early === null || said.now_kpa === null) return null;
  const level = y(said.governs_kpa).toFixed(2);
  const late = ahead.late === null ? `L${WIDE} ${y(said.now_kpa).toFixed(2)}L${WIDE} ${level}` : `L${x(newest + ahead.late).toFixed(1)} ${level}`;
  return `M${x(newest).toFixed(1)} ${y(said.now_kpa).toFixed(2)}${late}L${x(newest + ahead.early).toFixed(1)} ${level}Z`;
}

function likely(said, newest, x, y) {
  const ahead = said.ahead;
  if (!ahead || ahead.likely === null || said.now_kpa === null) return null;
  return `M${x(newest).toFixed(1)} ${y(said.now_kpa).toFixed(2)}L${x(newest + ahead.likely).toFixed(1)} ${y(said.governs_kpa).toFixed(2)}`;
}
