// Mouse, touch, pen and keyboard over the bench.

import { desk, emit, marksIn, say } from "./desk.js";
import { identity } from "./edits.js";
import { drawEdge } from "./hidden.js";
import { placeByHand, refineMark, move, select, markOf, handSd } from "./marking.js";
import { post } from "./keeper.js";

const NEAR = 13; // px of the screen within which a press takes hold of a mark
const NEAR_ASKED = 7; // less while a point is asked for, which may lie close to a marked one
const LIFT = 60; // the crosshair stands this far above a finger

export class Hand {
  constructor(stage, view, glass) {
    Object.assign(this, { stage, view, glass });
    this.pointers = new Map();
    this.held = null;
    this.cursor = null; // the keyboard's crosshair, in photo pixels
    stage.addEventListener("pointerdown", (e) => this.down(e));
    stage.addEventListener("pointermove", (e) => this.moved(e));
    stage.addEventListener("pointerup", (e) => this.up(e));
    stage.addEventListener("pointercancel", (e) => this.cancel(e));
    stage.addEventListener("pointerleave", () => { if (!this.held) this.glass.hide(); });
    stage.addEventListener("contextmenu", (e) => e.preventDefault());
    stage.addEventListener("wheel", (e) => this.wheel(e), { passive: false });
    addEventListener("keydown", (e) => { if (e.code === "Space" && e.target === stage) { this.space = true; e.preventDefault(); } });
    addEventListener("keyup", (e) => { if (e.code === "Space") this.space = false; });
  }

  at(event) {
    const box = this.stage.getBoundingClientRect();
    const lift = event.pointerType === "touch" ? LIFT : 0;
    return [event.clientX - box.left, event.clientY - box.top - lift];
  }

  near(screen, touch) {
    let best = null;
    let least = (desk.asked ? NEAR_ASKED : NEAR) * (touch ? 1.8 : 1);
    for (const mark of marksIn()) {
      const [x, y] = this.view.toScreen(mark.px);
      const distance = Math.hypot(x - screen[0], y - screen[1]);
      if (distance < least) { least = distance; best = identity(mark); }
    }
    return best;
  }

  inside([px, py]) {
    const { info } = this.view;
    return info && px >= -0.5 && py >= -0.5 && px < info.width_px - 0.5 && py < info.height_px - 0.5;
  }

  down(event) {
    if (event.target.closest("button, input, select")) return;
    this.stage.focus({ preventScroll: true });
    this.stage.setPointerCapture(event.pointerId);
    this.pointers.set(event.pointerId, [event.clientX, event.clientY]);
    if (this.pointers.size === 2) return this.startPinch();
    if (this.pointers.size > 2) return;
    const screen = this.at(event);
    const px = this.view.toPhoto(screen);
    const panning = event.button === 1 || event.button === 2 || this.space;
    if (panning) { this.held = { kind: "pan" }; return; }
    if (desk.hidden && this.inside(px)) {
      this.held = { kind: "edge", start: screen, from: px, px };
      this.glass.show(px, screen);
      emit("aim", px);
      return;
    }
    const id = this.near(screen, event.pointerType === "touch");
    if (id) {
      select(id);
      const [mx, my] = markOf(id).px;
      this.held = { kind: "mark", id, offset: [mx - px[0], my - px[1]], start: screen, moved: false, from: markOf(id) };
      this.glass.show(markOf(id).px, screen);
      return;
    }
    if (!desk.asked || !this.inside(px)) {
      select(null);
      this.held = { kind: "pan" };
      return;
    }
    this.held = { kind: "new", point: desk.asked, start: screen, px };
    this.glass.show(px, screen);
    emit("aim", px);
  }

  moved(event) {
    const screen = this.at(event);
    const last = this.pointers.get(event.pointerId);
    if (last) this.pointers.set(event.pointerId, [event.clientX, event.clientY]);
    if (this.pinch) return this.movePinch();
    const px = this.view.toPhoto(screen);
    if (!this.held) {
      if (event.pointerType !== "touch" && (desk.asked || this.near(screen)) && this.inside(px) && !event.target.closest("button")) {
        this.glass.show(px, screen);
      } else this.glass.hide();
      return;
    }
    if (this.held.kind === "pan" && last) {
      this.view.pan(event.clientX - last[0], event.clientY - last[1]);
      this.glass.hide();
    } else if (this.held.kind === "new") {
      this.held.px = px;
      this.glass.show(px, screen);
      emit("aim", px);
    } else if (this.held.kind === "edge") {
      this.held.px = px;
      if (desk.hidden) desk.hidden.drawing = [this.held.from, px];
      this.glass.show(px, screen);
      emit("aim", px);
    } else if (this.held.kind === "mark") {
      if (!this.held.moved && Math.hypot(screen[0] - this.held.start[0], screen[1] - this.held.start[1]) < 4) return;
      this.held.moved = true;
      const [dx, dy] = this.held.offset;
      this.held.px = [px[0] + dx, px[1] + dy];
      this.glass.show(this.held.px, screen);
      this.preview();
      emit("aim", this.held.px);
    }
  }

  async up(event) {
    this.pointers.delete(event.pointerId);
    if (this.pinch) {
      if (this.pointers.size === 0) this.pinch = null;
      this.held = null;
      return;
    }
    const { held } = this;
    this.held = null;
    emit("aim", null);
    if (event.pointerType === "touch") this.glass.hide();
    if (!held) return;
    if (held.kind === "edge" && desk.hidden) {
      await drawEdge(held.from, held.px, this.view.scale);
    } else if (held.kind === "new" && this.inside(held.px)) {
      await placeByHand(held.point, held.px, this.view.scale, { refine: !event.altKey });
    } else if (held.kind === "mark" && held.moved && this.inside(held.px)) {
      const file = desk.photo;
      move(held.id, held.px, { sd: handSd(this.view.scale) });
      if (!event.altKey) await refineMark(held.id, file, this.view.scale);
    }
  }

  cancel(event) {
    this.pointers.delete(event.pointerId);
    this.held = null;
    this.pinch = null;
    this.glass.hide();
    emit("aim", null);
  }

  startPinch() {
    this.held = null;
    this.glass.hide();
    emit("aim", null);
    this.pinch = this.span();
  }

  span() {
    const [[ax, ay], [bx, by]] = [...this.pointers.values()];
    const box = this.stage.getBoundingClientRect();
    return { x: (ax + bx) / 2 - box.left, y: (ay + by) / 2 - box.top, apart: Math.max(1, Math.hypot(ax - bx, ay - by)) };
  }

  movePinch() {
    if (this.pointers.size < 2) return;
    const now = this.span();
    this.view.pan(now.x - this.pinch.x, now.y - this.pinch.y);
    this.view.zoomAt(now.x, now.y, now.apart / this.pinch.apart);
    this.pinch = now;
  }

  wheel(event) {
    event.preventDefault();
    const [x, y] = this.at(event);
    const lines = event.deltaMode === 1 ? event.deltaY * 30 : event.deltaY;
    this.view.zoomAt(x, y, Math.exp(-lines * (event.ctrlKey ? 0.01 : 0.0016)));
  }

  // While a mark is dragged the sizes follow; only one question to the server at a time.
  async preview() {
    if (this.asking || !this.held?.from) return;
    this.asking = true;
    const { from, id, px } = this.held;
    const value = { ...from, px: px.map((v) => Math.round(v * 100) / 100) };
    try {
      const response = await post("/api/preview", { edits: [{ path: ["photos", desk.photo, "marks", id], value }] });
      if (response.ok && this.held?.id === id) emit("server-live", await response.json());
    } catch { /* the next move asks again */ }
    this.asking = false;
  }

  // Arrows: nudge the chosen mark, or move the crosshair of the keyboard.
  arrow(event) {
    const step = event.shiftKey ? 10 : event.altKey ? 0.1 : 1;
    const [dx, dy] = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
    const mark = desk.selected && markOf(desk.selected);
    if (mark && !this.cursor) {
      const px = [mark.px[0] + dx * step, mark.px[1] + dy * step];
      const merge = this.nudged === desk.selected && performance.now() - this.nudgedAt < 1200;
      move(desk.selected, px, { merge, sd: Math.min(mark.sd_px ?? 1, 1) });
      this.nudged = desk.selected;
      this.nudgedAt = performance.now();
      if (!this.view.shows(px)) this.view.goTo(px);
      this.glass.show(px, null);
      return;
    }
    this.cursor ??= this.view.toPhoto([this.stage.clientWidth / 2, this.stage.clientHeight / 2]);
    // The crosshair moves on the screen: ten pixels, a hundred with Shift, one with Alt.
    const jump = (event.shiftKey ? 100 : event.altKey ? 1 : 10) / this.view.scale;
    this.cursor = [this.cursor[0] + dx * jump, this.cursor[1] + dy * jump];
    if (!this.view.shows(this.cursor)) this.view.goTo(this.cursor);
    this.glass.show(this.cursor, null);
    emit("aim", this.cursor);
  }

  startCursor() {
    if (!desk.asked) return say("Nothing is asked for in this photo.");
    this.cursor = this.view.toPhoto([this.stage.clientWidth / 2, this.stage.clientHeight / 2]);
    this.glass.show(this.cursor, null);
    emit("aim", this.cursor);
  }

  endCursor() {
    this.cursor = null;
    this.glass.hide();
    emit("aim", null);
  }

  async dropCursor() {
    const { cursor } = this;
    if (cursor && desk.hidden && this.inside(cursor)) {
      await drawEdge(cursor, cursor, this.view.scale);
      if (!desk.hidden) this.endCursor();
      return;
    }
    this.endCursor();
    if (cursor && desk.asked && this.inside(cursor)) await placeByHand(desk.asked, cursor, this.view.scale);
  }
}
