// Close-ups of points to be confirmed: each is looked at when it has been in sight for a moment.

import { desk, emit, photoInfo } from "./desk.js";
import { h } from "./dom.js";
import { drawPatch } from "./glass.js";
import { pointName } from "./words.js";

const SIZE = 92;
let view = null;

export function useView(shared) { view = shared; }

export function drawStrip(strip, points) {
  const watch = new IntersectionObserver((seen) => {
    for (const entry of seen) {
      const { key } = entry.target.dataset;
      clearTimeout(entry.target.timer);
      if (entry.isIntersecting) {
        entry.target.timer = setTimeout(() => {
          if (!entry.target.isConnected) return;
          desk.looked.add(`${desk.photo}|${key}`);
          entry.target.classList.add("looked");
          emit("looked");
        }, 250);
      }
    }
  }, { threshold: 0.8 });
  const cells = points.map((item) => cell(item));
  strip.replaceChildren(...cells.map((c) => c.node));
  for (const { node } of cells) watch.observe(node);
  const paint = () => {
    if (!strip.isConnected && strip.parentNode) return;
    for (const { canvas, item } of cells) patch(canvas, item);
  };
  paint();
  strip.paint = paint;
}

function cell(item) {
  const ratio = devicePixelRatio || 1;
  const canvas = h("canvas", { width: SIZE * ratio, height: SIZE * ratio, "aria-hidden": "true" });
  const out = h("button", { type: "button", class: "out", "aria-pressed": "false", title: "Leave this one out", onclick: () => {
    item.out = !item.out;
    out.setAttribute("aria-pressed", String(item.out));
    node.classList.toggle("left-out", item.out);
  } }, h("span", { "aria-hidden": "true" }, "×"), h("span", { class: "unseen" }, `Leave out ${pointName(item.point)}`));
  const pick = h("button", { type: "button", class: "pick", onclick: () => emit("go", item) },
    canvas, h("span", { class: "name" }, pointName(item.point)));
  const node = h("div", { class: "cell", "data-key": item.key }, pick, out);
  return { node, canvas, item };
}

function patch(canvas, item) {
  const info = photoInfo();
  if (!info || !view) return;
  drawPatch(canvas.getContext("2d"), view, info, item.ring.px, 1.6, SIZE, devicePixelRatio || 1);
}
