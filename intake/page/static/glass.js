// The Glass: what lies under the pointer, enlarged, off the pointer so that a finger does not hide it.

const SIZE = 184;

export class Glass {
  constructor(canvas, view) {
    this.canvas = canvas;
    this.view = view;
    this.at = null;
    const ratio = devicePixelRatio || 1;
    canvas.width = SIZE * ratio;
    canvas.height = SIZE * ratio;
  }

  show(px, pointer) {
    this.at = px;
    this.pointer = pointer;
    this.canvas.hidden = false;
    this.draw();
  }

  hide() {
    this.at = null;
    this.canvas.hidden = true;
  }

  get scale() {
    return Math.max(2.5, Math.min(10, this.view.scale * 8));
  }

  draw() {
    if (!this.at || !this.view.info || this.view.info.problem) return;
    const { stage } = this.view;
    const [x, y] = this.pointer ?? this.view.toScreen(this.at);
    const gap = 36;
    const left = x + gap + SIZE < stage.clientWidth ? x + gap : x - gap - SIZE;
    const top = y - gap - SIZE > 0 ? y - gap - SIZE : Math.min(y + gap, stage.clientHeight - SIZE - 4);
    this.canvas.style.transform = `translate(${Math.round(left)}px, ${Math.round(top)}px)`;
    const ratio = devicePixelRatio || 1;
    const context = this.canvas.getContext("2d");
    drawPatch(context, this.view, this.view.info, this.at, this.scale, SIZE, ratio);
  }
}

// A square of the photo round a point, with a fine cross on it.
export function drawPatch(context, view, info, [px, py], scale, size, ratio) {
  const zoom = scale * ratio;
  context.setTransform(1, 0, 0, 1, 0, 0);
  context.fillStyle = "#2b2f33";
  context.fillRect(0, 0, size * ratio, size * ratio);
  const half = size / 2 / scale;
  context.setTransform(zoom, 0, 0, zoom, (size / 2 - (px + 0.5) * scale) * ratio, (size / 2 - (py + 0.5) * scale) * ratio);
  view.paint(context, info, [px - half, py - half, px + half, py + half], zoom);
  context.setTransform(ratio, 0, 0, ratio, 0, 0);
  const middle = size / 2;
  for (const [width, colour] of [[3, "rgb(255 255 255 / .85)"], [1, "#0b1014"]]) {
    context.lineWidth = width;
    context.strokeStyle = colour;
    context.beginPath();
    for (const [dx, dy] of [[1, 0], [-1, 0], [0, 1], [0, -1]]) {
      context.moveTo(middle + dx * 5, middle + dy * 5);
      context.lineTo(middle + dx * (size * 0.22), middle + dy * (size * 0.22));
    }
    context.stroke();
  }
  context.fillStyle = "#d9480f";
  context.fillRect(middle - 1, middle - 1, 2, 2);
}
