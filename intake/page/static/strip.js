// Close-ups of points to be confirmed: each is looked at when it has been in sight for a moment.

import { desk, emit, photoInfo } from "./desk.js";
import { h } from "./dom.js";
import { drawPatch } from "./glass.js";
import { crossings } from "./marking.js";
import { corner, thing } from "./words.js";

const SIZE = 96;
const LOOK_MS = 250;
let view = null;

export function useView(shared) { view = shared; }

// Each item gets `at`, where it would be marked: the edge crossing near the predicted place, or that place itself.
export function drawStrip(strip, points) {
  const file = desk.photo;
  const cells = points.map((item) => cell(item));
  strip.replaceChildren(...cells.map((c) => c.node));
  strip.paint = () => { for (const { canvas, item } of cells) patch(canvas, item); };
  strip.paint();
  find(file, points).then(() => { if (strip.isConnected) { strip.paint(); for (const { node, item } of cells) node.dataset.px = item.at.join(" "); watch(strip, cells, file); } });
}

async function find(file, points) {
  const asked = points.map((item) => ({ px: item.ring.px, reach_px: reach(item) }));
  const found = await crossings(file, asked);
  points.forEach((item, i) => {
    const { px, sd_px: sd } = found[i] ?? {};
    item.at = px ?? item.ring.px;
    // A place that only the solution names tells it little new: it counts as a coarse look, no better than itself.
    if (px) item.sd = sd;
    else if (!item.proposed) item.sd = Math.max(4, 2 * Math.sqrt(Math.max(item.ring.cov?.[0][0] ?? 0, item.ring.cov?.[1][1] ?? 0)));
    item.crossing = Boolean(px);
  });
}

const reach = ({ ring, sd }) => {
  const spread = ring.cov ? 2.5 * Math.sqrt(Math.max(ring.cov[0][0], ring.cov[1][1])) : 2 * sd;
  return Math.min(40, Math.max(6, spread));
};

function watch(strip, cells, file) {
  const observer = new IntersectionObserver((seen) => {
    for (const entry of seen) {
      clearTimeout(entry.target.timer);
      if (!entry.isIntersecting) continue;
      entry.target.timer = setTimeout(() => {
        if (!entry.target.isConnected || desk.photo !== file) return;
        desk.looked.add(`${file}|${entry.target.dataset.key}`);
        entry.target.classList.add("looked");
        emit("looked");
      }, LOOK_MS);
    }
  }, { root: strip, threshold: 0.75 });
  for (const { node } of cells) observer.observe(node);
}

// Bring the first close-ups that have not been looked at into sight.
export function showNext(strip, points) {
  const next = points.find((p) => !desk.looked.has(`${desk.photo}|${p.key}`));
  const node = next && strip.querySelector(`[data-key="${CSS.escape(next.key)}"]`);
  if (node) strip.scrollTo({ top: node.offsetTop - 4 });
  return Boolean(node);
}

function cell(item) {
  const ratio = devicePixelRatio || 1;
  const canvas = h("canvas", { width: SIZE * ratio, height: SIZE * ratio, "aria-hidden": "true" });
  const name = `${corner(item.point.point)}, ${thing(item.point)}`;
  const out = h("button", { type: "button", class: "out", "aria-pressed": "false", title: "Leave this one out", onclick: () => {
    item.out = !item.out;
    out.setAttribute("aria-pressed", String(item.out));
    node.classList.toggle("left-out", item.out);
  } }, h("span", { "aria-hidden": "true" }, "×"), h("span", { class: "unseen" }, `Leave out ${name}`));
  const pick = h("button", { type: "button", class: "pick", onclick: () => emit("go", item) }, canvas, h("span", { class: "name" }, name));
  const node = h("div", { class: "cell", "data-key": item.key }, pick, out);
  return { node, canvas, item };
}

function patch(canvas, item) {
  const info = photoInfo();
  if (!info || !view) return;
  const scale = Math.max(view.scale * 3, 3000 / Math.max(info.width_px, info.height_px));
  drawPatch(canvas.getContext("2d"), view, info, item.at ?? item.ring.px, Math.min(1.6, scale), SIZE, devicePixelRatio || 1);
}
