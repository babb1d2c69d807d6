// The sketch beside the question: a small wall with the asked corner on it.

import { s } from "./dom.js";

const W = 132;
const H = 84;
const AT = { bottom_left: [0, 1], bottom_right: [1, 1], top_right: [1, 0], top_left: [0, 0] };

function corners([x, y, w, h], point) {
  const [u, v] = AT[point] ?? [0.5, 0.5];
  return [x + u * w, y + v * h];
}

export function drawSketch(svg, desk) {
  const { question } = desk;
  const point = question.kind === "point" ? question.point : null;
  const wall = [14, 10, W - 28, H - 20];
  const face = [48, 24, 36, 34];
  const back = [54, 29, 24, 24];
  const parts = [s("rect", { x: 0, y: H - 10, width: W, height: 10, class: "floor" }), box(wall, "wall")];
  let dot = null;
  if (point?.opening) {
    parts.push(box(face, "face"), box(back, "back"));
    for (const name of Object.keys(AT)) {
      const [a, b] = [corners(face, name), corners(back, name)];
      parts.push(s("line", { x1: a[0], y1: a[1], x2: b[0], y2: b[1], class: "back" }));
    }
    dot = corners(point.face === "frame" ? back : face, point.point);
  } else if (point?.feature) {
    const plate = [56, 46, 22, 14];
    parts.push(box(plate, "face"));
    dot = corners(plate, point.point);
  } else if (question.kind === "middle") {
    parts.push(box([52, 34, 30, 20], "face"));
    dot = [67, 44];
  } else if (point?.reference) {
    const sheet = [52, 34, 30, 20];
    parts.push(box(sheet, "face"));
    dot = corners(sheet, point.point);
  } else if (point?.point?.startsWith("edge_")) {
    parts.push(box([40, 10, 52, H - 20], "face"));
    dot = [point.point === "edge_inner" ? 40 : 92, H / 2];
  } else if (point) dot = corners(wall, point.point);
  else if (question.kind === "skirting") {
    parts.push(s("rect", { x: wall[0], y: H - 18, width: wall[2], height: 8, class: "lit" }));
  } else if (question.kind === "openings") parts.push(box(face, "lit"), box(back, "back"));
  else if (question.kind === "features") parts.push(box([24, 54, 26, 14], "lit"), box([92, 56, 9, 6], "lit"));
  else if (question.kind === "tape") {
    parts.push(s("path", { d: `M${wall[0]} ${H / 2}H${wall[0] + wall[2]}M${wall[0] + 6} ${H / 2 - 4}l-6 4 6 4M${wall[0] + wall[2] - 6} ${H / 2 - 4}l6 4-6 4`, class: "tape" }));
  } else if (question.kind === "bar" || question.kind === "reference") parts.push(box([52, 34, 30, 20], "lit"));
  if (dot) parts.push(s("circle", { cx: dot[0], cy: dot[1], r: 6, class: "dot" }), s("circle", { cx: dot[0], cy: dot[1], r: 2, class: "pin" }));
  svg.classList.toggle("blank", parts.length < 3);
  svg.replaceChildren(...parts);
}

const box = ([x, y, width, height], name) => s("rect", { x, y, width, height, class: name });
