// The photo on the bench: a scaled picture first, full-size tiles where the view is close, pan and zoom.

import { emit, photoInfo } from "./desk.js";

const TILE = 512;
const MOST_TILES = 160;
const tiles = new Map();
const bases = new Map();

export const address = (info, extra) =>
  `/api/photo?file=${encodeURIComponent(info.file)}&v=${info.version}&${extra}`;

function load(source, done) {
  const image = new Image();
  image.src = source;
  const entry = { image, ready: false };
  image.decode().then(() => { entry.ready = true; done(); }, () => { entry.failed = true; done(); });
  return entry;
}

export class View {
  constructor(stage, canvas, changed) {
    this.stage = stage;
    this.canvas = canvas;
    this.context = canvas.getContext("2d", { alpha: false });
    this.changed = changed;
    this.scale = 1;
    this.x = 0;
    this.y = 0;
    this.info = null;
    this.asked = false;
    new ResizeObserver(() => this.resize()).observe(stage);
  }

  setPhoto(file) {
    this.info = photoInfo(file);
    if (this.info && !this.info.problem) this.base(this.info);
    this.fit();
  }

  base(info) {
    const key = `${info.file}|${info.version}`;
    if (!bases.has(key)) bases.set(key, load(address(info, "size=base"), () => this.later()));
    return bases.get(key);
  }

  tile(info, column, row) {
    const key = `${info.file}|${info.version}|${column}|${row}`;
    let entry = tiles.get(key);
    if (entry) tiles.delete(key);
    else entry = load(address(info, `size=tile&x=${column}&y=${row}`), () => this.later());
    tiles.set(key, entry);
    if (tiles.size > MOST_TILES) tiles.delete(tiles.keys().next().value);
    return entry;
  }

  resize() {
    const { clientWidth: width, clientHeight: height } = this.stage;
    const ratio = devicePixelRatio || 1;
    const fitted = this.fitted;
    this.canvas.width = Math.round(width * ratio);
    this.canvas.height = Math.round(height * ratio);
    if (fitted) this.fit();
    else this.later();
  }

  fit() {
    if (!this.info) return;
    const { clientWidth: width, clientHeight: height } = this.stage;
    const margin = 14;
    this.scale = Math.min((width - 2 * margin) / this.info.width_px, (height - 2 * margin) / this.info.height_px);
    this.least = this.scale * 0.8;
    this.x = (width - this.info.width_px * this.scale) / 2;
    this.y = (height - this.info.height_px * this.scale) / 2;
    this.fitted = true;
    this.later();
  }

  zoomAt(x, y, factor) {
    const scale = Math.max(this.least ?? 0.05, Math.min(32, this.scale * factor));
    const real = scale / this.scale;
    this.x = x - (x - this.x) * real;
    this.y = y - (y - this.y) * real;
    this.scale = scale;
    this.fitted = false;
    this.later();
  }

  pan(dx, dy) {
    this.x += dx;
    this.y += dy;
    this.fitted = false;
    this.later();
  }

  // Bring a photo point to the middle, at no less than the given scale.
  goTo([px, py], scale) {
    if (scale) this.scale = Math.max(this.scale, scale);
    this.x = this.stage.clientWidth / 2 - (px + 0.5) * this.scale;
    this.y = this.stage.clientHeight / 2 - (py + 0.5) * this.scale;
    this.fitted = false;
    this.later();
  }

  shows([px, py], margin = 30) {
    const [x, y] = this.toScreen([px, py]);
    return x > margin && y > margin && x < this.stage.clientWidth - margin && y < this.stage.clientHeight - margin;
  }

  toScreen([px, py]) { return [(px + 0.5) * this.scale + this.x, (py + 0.5) * this.scale + this.y]; }
  toPhoto([x, y]) { return [(x - this.x) / this.scale - 0.5, (y - this.y) / this.scale - 0.5]; }

  later() {
    if (this.asked) return;
    this.asked = true;
    requestAnimationFrame(() => {
      this.asked = false;
      this.draw();
      this.changed();
    });
  }

  draw() {
    const ratio = devicePixelRatio || 1;
    const { context } = this;
    context.setTransform(1, 0, 0, 1, 0, 0);
    context.fillStyle = getComputedStyle(this.stage).backgroundColor;
    context.fillRect(0, 0, this.canvas.width, this.canvas.height);
    if (!this.info || this.info.problem) return;
    context.setTransform(this.scale * ratio, 0, 0, this.scale * ratio, this.x * ratio, this.y * ratio);
    const [left, top] = this.toPhoto([0, 0]);
    const [right, bottom] = this.toPhoto([this.stage.clientWidth, this.stage.clientHeight]);
    this.paint(context, this.info, [left, top, right, bottom], this.scale * ratio);
  }

  // Paint part of a photo into a context whose unit is a photo pixel (edges at whole numbers).
  paint(context, info, [left, top, right, bottom], scale) {
    const base = this.base(info);
    context.imageSmoothingEnabled = scale < 3;
    context.imageSmoothingQuality = "medium";
    if (base.ready) {
      context.drawImage(base.image, 0, 0, info.width_px, info.height_px);
      if (!this.shown) { this.shown = true; performance.mark("first photo"); emit("shown"); }
    }
    const detail = base.ready ? base.image.naturalWidth / info.width_px : 0.5;
    if (scale <= detail * 1.1) return;
    const last = [Math.ceil(info.width_px / TILE) - 1, Math.ceil(info.height_px / TILE) - 1];
    const clamp = (v, most) => Math.max(0, Math.min(most, Math.floor((v + 0.5) / TILE)));
    for (let row = clamp(top, last[1]); row <= clamp(bottom, last[1]); row += 1) {
      for (let column = clamp(left, last[0]); column <= clamp(right, last[0]); column += 1) {
        const tile = this.tile(info, column, row);
        if (tile.ready) context.drawImage(tile.image, column * TILE, row * TILE);
      }
    }
  }
}
