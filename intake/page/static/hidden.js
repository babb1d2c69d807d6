// What a press does when the point itself does not show: a corner from the two edges that meet there, each drawn along
// a piece of it; a thing of known size from a press on its middle.

import { desk, emit, photoInfo, say, wallEntry } from "./desk.js";
import { identity } from "./edits.js";
import { change, post } from "./keeper.js";
import { handSd, place, select } from "./marking.js";
import { SHEET_CORNERS, pointName, referenceName } from "./words.js";

const DRAG = 8; // px of the screen: less is a press, not a piece of an edge
const CORNER_SD = 2; // of an outline's corner; the search for references fits it again

export function toggleHidden(point) {
  desk.hidden = desk.hidden ? null : { key: identity(point), point, lines: [], loose: null, drawing: null };
  emit("placed");
}

// A press, or a drag from one place to another: two presses or one drag make an edge, two edges a corner.
export async function drawEdge(from, to, scale) {
  const { hidden } = desk;
  hidden.drawing = null;
  if (Math.hypot(to[0] - from[0], to[1] - from[1]) * scale >= DRAG) hidden.lines.push([from, to]);
  else if (hidden.loose) { hidden.lines.push([hidden.loose, from]); hidden.loose = null; } else hidden.loose = from;
  if (hidden.lines.length === 2) await crossEdges(hidden, scale);
  emit("placed");
}

async function crossEdges(hidden, scale) {
  const file = desk.photo;
  desk.hidden = null;
  const answer = await asked("/api/cross", { file, lines: hidden.lines, sd_px: handSd(scale) });
  if (desk.photo !== file || !answer) return;
  const { width_px: width, height_px: height } = photoInfo();
  const [x, y] = answer.px ?? [];
  if (!answer.px || x < -0.5 || y < -0.5 || x >= width - 0.5 || y >= height - 0.5) {
    emit("refused", `${pointName(hidden.point)}: ${answer.px ? "the two edges meet outside the picture" : answer.why}. Draw them again, or say "Not seen here".`);
    return;
  }
  select(place(hidden.point, answer.px, { sd: answer.sd_px, label: `${pointName(hidden.point)} from its edges` }));
  say(`${pointName(hidden.point)} put where the two edges meet`);
}

// Look for a declared reference about a press, and mark its four corners if it is there.
export async function seekReference(id, px) {
  const file = desk.photo;
  const entry = (desk.survey.references ?? []).find((r) => r.id === id);
  const size = entry.width_mm && entry.height_mm ? [entry.width_mm, entry.height_mm] : null;
  desk.pinned = null;
  const answer = await asked("/api/seek", { file, px, kind: entry.kind, ...(size && { size_mm: size }) });
  if (!answer) return;
  if (!answer.corners_px) {
    desk.byCorners.add(`${file}|${id}`);
    emit("refused", `${referenceName(entry)} was not found there: ${answer.why}. Mark its four corners.`);
    emit("placed");
    return;
  }
  const found = SHEET_CORNERS.map((point, i) => ({ reference: id, point, px: answer.corners_px[i], sd_px: CORNER_SD }));
  change(found.map((mark) => ({ path: ["photos", file, "marks", identity(mark)], value: mark })), { label: `${referenceName(entry)} found where pressed` });
  say(`${referenceName(entry)} found`);
}

async function asked(address, content) {
  desk.busy += 1;
  emit("busy");
  try {
    const response = await post(address, content);
    if (response.ok) return await response.json();
    emit("refused", "The server could not look there.");
  } catch { emit("refused", "The server is gone; mark it by hand, or try again."); } finally {
    setTimeout(() => { desk.busy -= 1; emit("busy"); });
  }
  return null;
}

// Declared references of this wall that were looked for in this photo and not found, and not said to be absent.
export function missingHere() {
  const wall = wallEntry();
  const entry = (desk.survey.photos ?? []).find((p) => p.file === desk.photo) ?? {};
  if (!wall || !(entry.marks ?? []).some((m) => m.wall === wall.id)) return [];
  const notFound = new Set((desk.live?.findings ?? []).filter((f) => ["R004", "R008", "R009"].includes(f.code) && f.where.photo === desk.photo).map((f) => f.where.reference));
  const marked = (id) => (entry.marks ?? []).some((m) => m.reference === id);
  const away = (id) => (entry.not_seen ?? []).some((m) => identity(m) === `reference=${id}`);
  return (desk.survey.references ?? []).filter((r) => notFound.has(r.id) && (!r.on || r.on === wall.id) && !marked(r.id) && !away(r.id));
}
