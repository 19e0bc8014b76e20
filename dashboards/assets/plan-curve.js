// The limit over tilt against the panel's weight: two lines, one axis each, all figures as the server wrote them.

import { svg } from "./dom.js";

const [WIDTH, HEIGHT] = [480, 270];
const [LEFT, RIGHT, TOP, BOTTOM] = [78, 14, 12, 40];
const STEP_DEG = 15;

export function drawCurve(place, curve) {
  const tilts = curve.points.map((point) => point[0]);
  const [low, high] = [Math.min(...tilts), Math.max(...tilts)];
  const span = Math.max(high - low, 1);
  const x = (deg) => LEFT + ((deg - low) / span) * (WIDTH - LEFT - RIGHT);
  const y = (kg) => HEIGHT - BOTTOM - (Math.min(kg, curve.most_kg) / curve.most_kg) * (HEIGHT - TOP - BOTTOM);
  const drawing = svg("svg", { viewBox: `0 0 ${WIDTH} ${HEIGHT}`, class: "curve", role: "img", "aria-label": curve.says });
  for (const mark of curve.marks) {
    drawing.append(svg("path", { d: `M${LEFT} ${y(mark.kg)}H${WIDTH - RIGHT}`, class: "grid" }), label(mark.words, LEFT - 8, y(mark.kg) + 6, "end"));
  }
  for (let deg = Math.ceil(low / STEP_DEG) * STEP_DEG; deg <= high; deg += high - low > 120 ? 2 * STEP_DEG : STEP_DEG) {
    drawing.append(svg("path", { d: `M${x(deg)} ${HEIGHT - BOTTOM}v6`, class: "axis" }), label(`${deg}°`, x(deg), HEIGHT - BOTTOM + 24, "middle"));
  }
  const points = curve.points.length > 1 ? curve.points : [...curve.points, [low + 1, curve.points[0][1]]];
  const line = points.map((point) => `${x(point[0])} ${y(point[1])}`).join("L");
  drawing.append(
    svg("path", { d: `M${x(low)} ${y(0)}L${line}L${x(points.at(-1)[0])} ${y(0)}Z`, class: "under" }),
    svg("path", { d: `M${line}`, class: "limit" }),
    svg("path", { d: `M${LEFT} ${y(curve.weight_kg)}H${WIDTH - RIGHT}`, class: "weight" }),
    svg("path", { d: `M${LEFT} ${TOP}V${HEIGHT - BOTTOM}H${WIDTH - RIGHT}`, class: "axis" }),
    svg("circle", { cx: x(curve.at_deg), cy: y(curve.rated_kg), r: 6, class: "governs" }),
  );
  const above = y(curve.weight_kg) - 8 > TOP + 14;
  drawing.append(label(curve.weight_words, LEFT + 8, y(curve.weight_kg) + (above ? -8 : 20), "start", "strong"));
  const right = x(curve.at_deg) < WIDTH / 2;
  const dot = y(curve.rated_kg);
  const clash = Math.abs(dot - y(curve.weight_kg)) < 44;
  drawing.append(label(curve.rated_words, x(curve.at_deg) + (right ? 10 : -10), clash && dot > y(curve.weight_kg) ? dot + 22 : dot - 12 < TOP + 10 ? dot + 24 : dot - 12, right ? "start" : "end", "strong"));
  place.replaceChildren(drawing);
}

function label(said, x, y, anchor, name = "") {
  const element = svg("text", { x, y, "text-anchor": anchor, class: name });
  element.textContent = said;
  return element;
}
