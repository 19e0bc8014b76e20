// The panel and the pads as the lifter sees them: each pad a button, with its name and its use in figures.

import { attribute, svg } from "./dom.js";

const TARGET_PX = 28; // least radius of what a gloved finger has to meet
const ROOM = 0.08;

export function drawPads(place, all, inUse, answer, words, onTap) {
  const focused = document.activeElement?.closest?.(".pad")?.dataset.pad;
  const { outline = [], cut_outs: cutOuts = [], centre = null, offset = null } = answer?.drawing ?? {};
  const box = boxOf([...all.flatMap((pad) => around(pad)), ...outline]);
  const drawing = svg("svg", { viewBox: `${box.x} ${box.y} ${box.width} ${box.height}`, class: "pads", role: "group" });
  const unit = box.width / 100;
  if (outline.length) drawing.append(svg("path", { class: "panel", d: pathOf(outline) + cutOuts.map(pathOf).join(""), "fill-rule": "evenodd" }));
  const uses = new Map((answer?.pads ?? []).map((pad) => [pad.id, pad]));
  const px = (place.clientWidth || 600) / box.width;
  for (const pad of all) drawing.append(drawPad(pad, inUse.has(pad.id), uses.get(pad.id), words, unit, px, onTap));
  if (centre) drawing.append(...cross(centre, unit));
  if (centre && offset) drawing.append(...better(offset, unit));
  place.replaceChildren(drawing);
  document.querySelector("#legend [data-look=better]").hidden = !offset;
  if (focused) place.querySelector(`[data-pad="${CSS.escape(focused)}"]`)?.focus();
}

const radius = (pad) => 10 * Math.sqrt(pad.area_cm2 / Math.PI); // mm

const around = (pad) => [[pad.x_mm - radius(pad), pad.y_mm - radius(pad)], [pad.x_mm + radius(pad), pad.y_mm + radius(pad)]];

function boxOf(points) {
  const xs = points.map((at) => at[0]);
  const ys = points.map((at) => -at[1]);
  const [left, top] = [Math.min(...xs, -100), Math.min(...ys, -100)];
  const [width, height] = [Math.max(...xs, 100) - left, Math.max(...ys, 100) - top];
  const room = ROOM * Math.max(width, height);
  return { x: left - room, y: top - room, width: width + 2 * room, height: height + 2 * room };
}

const pathOf = (corners) => `M${corners.map((at) => `${at[0]} ${-at[1]}`).join("L")}Z`;

function drawPad(pad, isIn, use, words, unit, px, onTap) {
  const at = { cx: pad.x_mm, cy: -pad.y_mm };
  const said = isIn ? (use?.use ?? "") : words.off;
  const group = svg("g", { class: "pad", role: "button", tabindex: 0, "data-pad": pad.id, "data-look": isIn ? (use?.look ?? "in") : "off", "aria-pressed": isIn, "aria-label": `${pad.id}, ${pad.circuit}: ${said}` });
  group.append(
    svg("circle", { ...at, r: Math.max(radius(pad), TARGET_PX / px), class: "pad-target" }),
    svg("circle", { ...at, r: radius(pad), class: "pad-seal", "stroke-width": 0.6 * unit }),
    label(pad.id, pad.x_mm, -pad.y_mm - (said ? 0.4 * unit : -1.4 * unit), 4.4 * unit, "pad-name"),
    label(said, pad.x_mm, -pad.y_mm + 4 * unit, 4 * unit, "pad-use"),
  );
  group.addEventListener("click", () => onTap(pad.id));
  group.addEventListener("keydown", (event) => {
    if (event.key !== "Enter" && event.key !== " ") return;
    event.preventDefault();
    onTap(pad.id);
  });
  return group;
}

function label(said, x, y, size, name) {
  const element = svg("text", { x, y, "font-size": size, class: name });
  element.textContent = said;
  return element;
}

function cross([x, y], unit) {
  const reach = 2.4 * unit;
  return [
    svg("circle", { cx: x, cy: -y, r: 1.6 * unit, class: "centre", "stroke-width": 0.5 * unit }),
    svg("path", { d: `M${x - reach} ${-y}H${x + reach}M${x} ${-y - reach}V${-y + reach}`, class: "centre", "stroke-width": 0.5 * unit }),
  ];
}

// Where the lifter's own middle would better be: moving it by `offset` over the panel.
function better([x, y], unit) {
  const element = svg("path", { d: `M0 0L${x} ${-y}`, class: "better", "stroke-width": 0.6 * unit, "stroke-dasharray": `${2 * unit} ${unit}` });
  const end = svg("rect", { x: x - 1.5 * unit, y: -y - 1.5 * unit, width: 3 * unit, height: 3 * unit, class: "better", "stroke-width": 0.6 * unit });
  attribute(element, "aria-hidden", "true");
  return [element, end];
}
