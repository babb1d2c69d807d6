// The growing elevation drawing: the wall as measured, or as far as it is known.

import { desk } from "./desk.js";
import { s } from "./dom.js";
import { mm } from "./words.js";

export function drawElevation(svg) {
  const wall = desk.live?.walls?.[desk.wall];
  const outline = wall?.outline_mm;
  if (!outline) {
    svg.setAttribute("viewBox", "0 0 320 190");
    svg.replaceChildren(s("rect", { x: 40, y: 24, width: 240, height: 130, class: "guess" }),
      s("text", { x: 160, y: 94, class: "note" }, desk.wall ? "the drawing grows here" : "no wall yet"));
    return;
  }
  const xs = outline.map((p) => p[0]);
  const ys = outline.map((p) => p[1]);
  const [left, right, low, high] = [Math.min(...xs), Math.max(...xs), Math.min(...ys), Math.max(...ys)];
  const room = 0.14 * Math.max(right - left, (high - low) * 1.5);
  const unit = (right - left + 2 * room) / 320; // millimetres a drawing unit
  const at = ([x, y]) => [(x - left + room) / unit, (high - y + room * 0.45) / unit];
  const width = 320;
  const height = (high - low + room * 1.35) / unit;
  svg.setAttribute("viewBox", `0 0 ${width} ${height.toFixed(1)}`);
  const path = (points) => `M${points.map((p) => at(p).map((v) => v.toFixed(1)).join(" ")).join("L")}Z`;
  const parts = [s("path", { d: path(outline), class: "wall" })];
  for (const opening of wall.openings ?? []) {
    if (opening.back_mm) parts.push(s("path", { d: path(opening.back_mm), class: "back" }));
    if (!opening.front_mm) continue;
    parts.push(s("path", { d: path(opening.front_mm), class: "opening" }));
    const [x, y] = at(middle(opening.front_mm));
    parts.push(s("text", { x, y: y - 3, class: "label" }, opening.id));
    if (opening.width_mm && opening.height_mm) parts.push(s("text", { x, y: y + 8, class: "label small" }, `${mm(opening.width_mm.value)} × ${mm(opening.height_mm.value)}`));
  }
  for (const feature of wall.features ?? []) {
    const { left_mm: l, bottom_mm: b, width_mm: w, height_mm: t } = feature;
    if (!l || !b || !w || !t) continue;
    const [x, y] = at([l.value, b.value + t.value]);
    const large = t.value / unit > 16;
    parts.push(s("rect", { x, y, width: Math.max(2, w.value / unit), height: Math.max(2, t.value / unit), class: "feature" }),
      s("text", { x: x + w.value / unit / 2, y: large ? y + t.value / unit / 2 + 3 : y - 3, class: "label small" }, feature.id));
  }
  const [bl, br, tr] = outline.map(at);
  if (wall.width_mm) {
    const y = Math.max(bl[1], br[1]) + 12;
    parts.push(s("path", { d: `M${bl[0]} ${y}H${br[0]}M${bl[0]} ${y - 4}v8M${br[0]} ${y - 4}v8`, class: "dimension" }),
      s("text", { x: (bl[0] + br[0]) / 2, y: y + 11, class: "label" }, `${mm(wall.width_mm.value)} ± ${Math.ceil(2 * wall.width_mm.sd - 0.05)}`));
  }
  if (wall.height_mm) {
    const x = Math.max(br[0], tr[0]) + 10;
    const y = (br[1] + tr[1]) / 2;
    parts.push(s("path", { d: `M${x} ${br[1]}V${tr[1]}M${x - 4} ${br[1]}h8M${x - 4} ${tr[1]}h8`, class: "dimension" }),
      s("text", { x: x + 11, y, class: "label", transform: `rotate(-90 ${x + 11} ${y})` }, `${mm(wall.height_mm.value)} ± ${Math.ceil(2 * wall.height_mm.sd - 0.05)}`));
  }
  svg.replaceChildren(...parts);
}

function middle(points) {
  return [0, 1].map((i) => points.reduce((sum, p) => sum + p[i], 0) / points.length);
}
