// Look again: the straightened photo with a 100 mm grid and the edges as solved, to see whether they lie on each other.

import { desk, emit, wallEntry } from "./desk.js";
import { $, h, s } from "./dom.js";
import { setAsked } from "./marking.js";
import { mm } from "./words.js";

export function lookAgain() {
  const wall = desk.live?.walls?.[desk.wall];
  if (!wall?.straight) {
    emit("refused", "Look again needs a first solution: mark the four corners and have something of known size on the wall.");
    return;
  }
  show(wall, wall.straight.photos[0]);
  if (!$("#look").open) $("#look").showModal();
}

function show(wall, file) {
  const [left, bottom, right, top] = wall.straight.box_mm;
  const width = right - left;
  const height = top - bottom;
  const picture = h("img", { src: `/api/straight?wall=${encodeURIComponent(wall.id)}&file=${encodeURIComponent(file)}&n=${performance.now()}`, alt: `The wall ${wall.id} straightened, from ${file}` });
  const drawing = s("svg", { viewBox: `${left} ${-top} ${width} ${height}`, "aria-hidden": "true" }, grid(left, bottom, right, top), outlines(wall));
  const frame = h("div", { class: "straight" }, picture, drawing);
  frame.style.aspectRatio = `${width} / ${height}`;
  const choice = h("label", null, "From ", h("select", { onchange: (e) => show(wall, e.target.value) },
    wall.straight.photos.map((name) => h("option", { value: name, selected: name === file }, name))));
  const hide = h("label", null, h("input", { type: "checkbox", checked: true, onchange: (e) => drawing.classList.toggle("plain", !e.target.checked) }), " grid of 100 mm");
  $("#look-body").replaceChildren(
    h("p", { class: "hint" }, "Do the lines lie on the edges of the wall and of each opening? What stands out from the wall or lies deeper is displaced, as it must be."),
    frame,
    h("div", { class: "row" }, choice, hide,
      h("button", { type: "button", class: "main", onclick: () => { if (!(wallEntry().asked ?? []).includes("look")) setAsked("look"); $("#look").close(); } }, "They do: this wall is done"),
      h("button", { type: "button", onclick: () => $("#look").close() }, "Not yet")));
  picture.addEventListener("error", () => emit("refused", "The straightened picture could not be made."));
}

function grid(left, bottom, right, top) {
  const lines = [];
  for (let x = Math.ceil(left / 100) * 100; x <= right; x += 100) lines.push(s("line", { x1: x, x2: x, y1: -bottom, y2: -top, class: x % 1000 ? "grid" : "grid metre" }));
  for (let y = Math.ceil(bottom / 100) * 100; y <= top; y += 100) lines.push(s("line", { x1: left, x2: right, y1: -y, y2: -y, class: y % 1000 ? "grid" : "grid metre" }));
  return lines;
}

function outlines(wall) {
  const path = (points) => `M${points.map(([x, y]) => `${x} ${-y}`).join("L")}Z`;
  const parts = [];
  const line = (d, name) => parts.push(s("path", { d, class: `edge halo ${name}` }), s("path", { d, class: `edge ${name}` }));
  if (wall.outline_mm) line(path(wall.outline_mm), "wall");
  for (const opening of wall.openings ?? []) if (opening.front_mm) line(path(opening.front_mm), "opening");
  for (const f of wall.features ?? []) {
    if (f.left_mm && f.bottom_mm && f.width_mm && f.height_mm) {
      const [x, y, w, t] = [f.left_mm.value, f.bottom_mm.value, f.width_mm.value, f.height_mm.value];
      line(path([[x, y], [x + w, y], [x + w, y + t], [x, y + t]]), "feature");
    }
  }
  if (wall.outline_mm && wall.width_mm) {
    const [a, b] = wall.outline_mm;
    parts.push(s("text", { x: (a[0] + b[0]) / 2, y: -(a[1] + b[1]) / 2 - 30 }, `${mm(wall.width_mm.value)} ± ${Math.ceil(2 * wall.width_mm.sd - 0.05)}`));
  }
  return parts;
}
