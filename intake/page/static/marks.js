// The marks drawn over the photo: each kind has its own shape and line, so that colour is never the only sign.

import { desk, marksIn, wallEntry } from "./desk.js";
import { s } from "./dom.js";
import { identity } from "./edits.js";
import { proposalsFor } from "./proposed.js";
import { pointName } from "./words.js";

export function kind(mark) {
  if (mark.reference) return "reference";
  if (mark.feature) return "feature";
  if (mark.face === "frame") return "back";
  return mark.opening ? "opening" : "wall";
}

const SHAPES = {
  wall: () => [s("circle", { r: 7 })],
  opening: () => [s("circle", { r: 6 })],
  back: () => [s("rect", { x: -6, y: -6, width: 12, height: 12 })],
  feature: () => [s("path", { d: "M0-7.5 7 5.5H-7Z" })],
  reference: () => [s("path", { d: "M-7 0H7M0-7V7" })],
  suspect: () => [s("path", { d: "M0-10 10 0 0 10-10 0Z" })],
};

const twice = (make, name) => [
  s("g", { class: "halo" }, make()),
  s("g", { class: `line ${name}` }, make()),
];

function shape(name) {
  return [...twice(SHAPES[name], name), s("circle", { r: 1.2, class: "dot" })];
}

export function drawMarks(svg, view) {
  const live = desk.live?.points?.[desk.photo] ?? {};
  const suspects = new Map((desk.live?.suspects ?? []).filter((x) => x.photo === desk.photo && !desk.kept.has(`${x.photo}|${x.identity}`)).map((x) => [x.identity, x]));
  const parts = [...references(view), ...outlines(view)];
  for (const [id, point] of Object.entries(live)) {
    if (!point.inside || marksIn().some((m) => identity(m) === id)) continue;
    parts.push(ring(view, id, point));
  }
  for (const proposal of proposalsFor(wallEntry())) parts.push(proposed(view, proposal));
  for (const mark of marksIn()) {
    const id = identity(mark);
    const [x, y] = view.toScreen(mark.px);
    const chosen = desk.selected === id;
    if (live[id]?.cov) parts.push(ellipse(view, live[id], mark.px));
    const suspect = suspects.get(id);
    if (suspect) parts.push(thread(view, mark.px, suspect.px));
    parts.push(
      s("g", { class: `mark ${kind(mark)}${chosen ? " chosen" : ""}`, transform: `translate(${x} ${y})`, "data-mark": id },
        s("title", null, pointName(mark)),
        suspect ? shape("suspect") : shape(kind(mark)),
        chosen && [s("circle", { r: 14, class: "halo thin" }), s("circle", { r: 14, class: "line pick" })]),
    );
    const raw = desk.raw.get(`${desk.photo}|${id}`);
    if (chosen && raw && Math.hypot(raw[0] - mark.px[0], raw[1] - mark.px[1]) > 0.05) {
      const [rx, ry] = view.toScreen(raw);
      parts.push(s("g", { class: "before", transform: `translate(${rx} ${ry})` }, s("title", null, "where you clicked"),
        twice(() => [s("path", { d: "M-5-5 5 5M-5 5 5-5" })], "before")));
    }
  }
  if (desk.hidden) parts.push(...pieces(view, desk.hidden));
  svg.replaceChildren(...parts);
}

// The pieces of edges drawn so far for a corner that is hidden.
function pieces(view, { lines, loose, drawing }) {
  const parts = [...lines, ...(drawing ? [drawing] : [])].map(([a, b]) => {
    const [x1, y1] = view.toScreen(a);
    const [x2, y2] = view.toScreen(b);
    return s("g", { class: "piece" }, twice(() => [s("line", { x1, y1, x2, y2 })], "wall"));
  });
  if (!loose) return parts;
  const [x, y] = view.toScreen(loose);
  return [...parts, s("g", { class: "piece", transform: `translate(${x} ${y})` }, twice(() => [s("circle", { r: 4 })], "wall"))];
}

// What was found of known size: a double line and a cross in its middle.
function references(view) {
  return (desk.found[desk.photo]?.references ?? []).map((reference) => {
    const at = reference.corners_px.map((p) => view.toScreen(p));
    const d = `M${at.map((p) => p.join(" ")).join("L")}Z`;
    const [x, y] = [0, 1].map((i) => at.reduce((sum, p) => sum + p[i], 0) / 4);
    return s("g", { class: "found" }, s("title", null, `${reference.id}${reference.confirmed ? "" : ", proposed only"}`),
      s("path", { d, class: "double outer" }), s("path", { d, class: "double inner" }),
      s("path", { d: `M${x - 6} ${y}h12M${x} ${y - 6}v12`, class: "halo" }), s("path", { d: `M${x - 6} ${y}h12M${x} ${y - 6}v12`, class: "line reference" }));
  });
}

// Straight lines between the marked corners of each thing.
function outlines(view) {
  const groups = new Map();
  for (const mark of marksIn()) {
    if (mark.point.startsWith("edge_")) continue;
    const name = [mark.wall, mark.opening, mark.face, mark.feature, mark.reference].join("|");
    if (!groups.has(name)) groups.set(name, { kind: kind(mark), at: {} });
    groups.get(name).at[mark.point] = view.toScreen(mark.px);
  }
  const lines = [];
  for (const { kind: name, at } of groups.values()) {
    for (const [a, b] of [["bottom_left", "bottom_right"], ["bottom_right", "top_right"], ["top_right", "top_left"], ["top_left", "bottom_left"]]) {
      if (!at[a] || !at[b]) continue;
      const d = { x1: at[a][0], y1: at[a][1], x2: at[b][0], y2: at[b][1] };
      lines.push(s("line", { ...d, class: "edge halo" }), s("line", { ...d, class: `edge ${name}` }));
    }
  }
  return lines;
}

function ellipseShape(view, [[a, b], [, c]], least) {
  const middle = (a + c) / 2;
  const half = Math.hypot((a - c) / 2, b);
  const factor = Math.sqrt(5.991) * view.scale; // 19 in 20 of a two-dimensional normal (chi-square, 2 degrees)
  const long = Math.max(least, Math.sqrt(Math.max(0, middle + half)) * factor);
  const short = Math.max(least, Math.sqrt(Math.max(0, middle - half)) * factor);
  const angle = (Math.atan2(2 * b, a - c) / 2) * (180 / Math.PI);
  return { rx: long, ry: short, angle };
}

function ellipse(view, point, px) {
  const [x, y] = view.toScreen(px);
  const { rx, ry, angle } = ellipseShape(view, point.cov, 0);
  return s("ellipse", { rx, ry, transform: `translate(${x} ${y}) rotate(${angle})`, class: "spread" });
}

function ring(view, id, point) {
  const [x, y] = view.toScreen(point.px);
  const { rx, ry, angle } = ellipseShape(view, point.cov ?? [[1, 0], [0, 1]], 9);
  const make = () => [s("ellipse", { rx, ry, transform: `rotate(${angle})` })];
  return s("g", { class: "ring", transform: `translate(${x} ${y})`, "data-ring": id },
    s("title", null, "must be here, says the solution; Enter takes it"), twice(make, "ring"));
}

function proposed(view, proposal) {
  const [x, y] = view.toScreen(proposal.px);
  return s("g", { class: `proposal ${kind(proposal)}`, transform: `translate(${x} ${y})`, "data-proposal": identity(proposal) },
    s("title", null, `proposed: ${pointName(proposal)}; counts for nothing until confirmed`),
    twice(() => [s("path", { d: "M-9-3V-9H-3M3-9H9V-3M9 3V9H3M-3 9H-9V3" })], "proposal"));
}

function thread(view, from, to) {
  const [x1, y1] = view.toScreen(from);
  const [x2, y2] = view.toScreen(to);
  const d = { x1, y1, x2, y2 };
  return s("g", { class: "thread" }, s("line", { ...d, class: "halo" }), s("line", { ...d, class: "line suspect" }));
}
