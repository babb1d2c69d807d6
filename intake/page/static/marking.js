// Placing, moving, refining and removing marks.

import { desk, emit, marksIn, notSeenIn, say, wallEntry } from "./desk.js";
import { identity, target } from "./edits.js";
import { change, post } from "./keeper.js";
import { pointName } from "./words.js";

const markPath = (id, file = desk.photo) => ["photos", file, "marks", id];
const rawKey = (id, file = desk.photo) => `${file}|${id}`;
const round = (v) => Math.round(v * 100) / 100;
const tidy = ([x, y]) => [round(x), round(y)];

export const markOf = (id, file = desk.photo) => marksIn(file).find((m) => identity(m) === id) ?? null;

const isFloor = (point) => !point.opening && !point.feature && !point.reference && point.point.startsWith("bottom");

// How sure a hand is: two pixels of the screen, but never better than 0.7 of the photo (invented default).
export const handSd = (scale) => Math.min(8, Math.max(0.7, Math.round((2 / scale) * 10) / 10));

// How far things usually stand out from the wall, mm (invented defaults; Marks shows and changes them).
const STANDS_OUT = { socket: 9, switch: 9, radiator: 100, pipe: 30, vent: 5 };

// The skirting's depth once said for this wall goes with each later mark on the floor line.
function proudFor(point) {
  if (point.feature) {
    const other = (desk.survey.photos ?? []).flatMap((p) => p.marks ?? []).find((m) => m.wall === point.wall && m.feature === point.feature);
    const { kind } = (wallEntry(point.wall)?.features ?? []).find((f) => f.id === point.feature) ?? { kind: point.feature.replace(/\d+$/, "") };
    return other?.proud_mm ?? STANDS_OUT[kind];
  }
  if (!isFloor(point)) return undefined;
  for (const photo of desk.survey.photos ?? []) {
    const said = (photo.marks ?? []).find((m) => m.wall === point.wall && isFloor(m) && m.proud_mm !== undefined);
    if (said) return said.proud_mm;
  }
  return undefined;
}

export function place(point, px, { sd, merge = false, label } = {}) {
  const id = identity(point);
  const before = markOf(id);
  const proud = before?.proud_mm ?? proudFor(point);
  const mark = { ...target(point), px: tidy(px), ...(proud !== undefined && { proud_mm: proud }), ...(sd && { sd_px: sd }) };
  const edits = [{ path: markPath(id), value: mark }];
  if (notSeenIn().some((m) => identity(m) === id)) {
    edits.push({ path: ["photos", desk.photo, "not_seen", id], value: null });
  }
  change(edits, { merge, label: label ?? `mark ${pointName(point)}` });
  return id;
}

export async function placeByHand(point, px, scale, { refine = true } = {}) {
  if (point.point === "middle") { emit("seek", { id: point.reference, px }); return; }
  const file = desk.photo;
  const id = place(point, px, { sd: handSd(scale) });
  desk.raw.delete(rawKey(id));
  if (desk.pinned && identity(desk.pinned) === id) desk.pinned = null;
  select(id);
  say(`${pointName(point)} marked`);
  emit("placed");
  if (refine) await refineMark(id, file, scale);
}

// Ask the server for the edge crossings near points: [{px, reach_px}] gives [{px or null, sd_px}].
export async function crossings(file, points) {
  desk.busy += 1;
  emit("busy");
  try {
    const response = await post("/api/refine", { file, points });
    return response.ok ? (await response.json()).points : [];
  } catch { return []; } finally {
    setTimeout(() => { desk.busy -= 1; emit("busy"); });
  }
}

// Go to the edge crossing beneath a mark; K goes back.
export async function refineMark(id, file, scale) {
  const mark = markOf(id, file);
  if (!mark) return;
  const raw = mark.px;
  const [answer] = await crossings(file, [{ px: raw, reach_px: Math.min(40, Math.max(5, 3.5 / scale)) }]);
  const now = markOf(id, file);
  if (!answer?.px || !now || now.px[0] !== raw[0] || now.px[1] !== raw[1]) return;
  desk.raw.set(rawKey(id, file), raw);
  desk.refined.set(rawKey(id, file), { px: tidy(answer.px), sd: answer.sd_px });
  change([{ path: markPath(id, file), value: { ...now, px: tidy(answer.px), sd_px: answer.sd_px } }], { merge: true });
  if (answer.doubtful) emit("doubtful", { px: tidy(answer.px), far: Math.hypot(answer.px[0] - raw[0], answer.px[1] - raw[1]) });
}

// K: the raw click again; once more: the crossing again.
export function keepRaw(scale) {
  const id = desk.selected;
  const raw = id && desk.raw.get(rawKey(id));
  const mark = id && markOf(id);
  if (!raw || !mark) return say("Nothing to keep: this mark was not moved to an edge crossing.");
  const fine = desk.refined.get(rawKey(id));
  const isRaw = mark.px[0] === raw[0] && mark.px[1] === raw[1];
  const value = isRaw ? { ...mark, px: fine.px, sd_px: fine.sd } : { ...mark, px: raw, sd_px: handSd(scale) };
  change([{ path: markPath(id), value }], { label: isRaw ? "take the crossing" : "keep the click" });
  say(isRaw ? "Edge crossing taken" : "Your click is kept");
}

export function move(id, px, { merge = false, sd } = {}) {
  const mark = markOf(id);
  if (!mark) return;
  desk.raw.delete(rawKey(id));
  change([{ path: markPath(id), value: { ...mark, px: tidy(px), ...(sd && { sd_px: sd }) } }], { merge, label: `move ${pointName(mark)}` });
}

export function remove(id = desk.selected) {
  const mark = id && markOf(id);
  if (!mark) return;
  change([{ path: markPath(id), value: null }], { label: `remove ${pointName(mark)}` });
  select(null);
  say(`${pointName(mark)} removed`);
}

export function notSeen(points, file = desk.photo) {
  const edits = points.map((point) => ({ path: ["photos", file, "not_seen", identity(point)], value: target(point) }));
  change(edits, { label: "not seen here" });
  say("Noted: not seen here");
}

export function seenAfterAll(id, file = desk.photo) {
  change([{ path: ["photos", file, "not_seen", id], value: null }], { label: "seen after all" });
}

// Confirm points that the solution or the proposals put somewhere: one step of undo for all.
export function confirm(points) {
  const own = wallEntry();
  const known = new Set((own?.openings ?? []).map((o) => o.id));
  const fresh = [...new Set(points.map((p) => p.point.opening).filter((id) => id && !known.has(id)))];
  const openings = own?.side === "outside" ? [] : fresh.map((id) => ({ path: ["walls", own.id, "openings", id], value: { id, kind: "window" } }));
  const there = new Set((own?.features ?? []).map((f) => f.id));
  const things = [...new Set(points.map((p) => p.point.feature).filter((id) => id && !there.has(id)))];
  for (const id of things) openings.push({ path: ["walls", own.id, "features", id], value: { id, kind: id.replace(/\d+$/, "") } });
  const marks = points.map(({ point, px, sd }) => {
    const proud = proudFor(point);
    const value = { ...target(point), px: tidy(px), ...(proud !== undefined && { proud_mm: proud }), ...(sd && { sd_px: sd }) };
    return { path: markPath(identity(point)), value };
  });
  change([...openings, ...marks, ...alongside], { label: `confirm ${points.length} points` });
  alongside = [];
  say(`${points.length} points confirmed`);
}

export function setSkirting(depth) {
  const edits = [];
  for (const photo of desk.survey.photos ?? []) {
    for (const mark of photo.marks ?? []) {
      if (mark.wall === desk.wall && isFloor(mark)) {
        edits.push({ path: markPath(identity(mark), photo.file), value: { ...mark, proud_mm: depth } });
      }
    }
  }
  change(edits, { label: depth ? `skirting ${depth} mm` : "floor line on plaster" });
}

let alongside = []; // edits that go with the next step

// Note that a question has been answered; `later`: as part of the next change.
export function setAsked(name, { later = false } = {}) {
  const wall = wallEntry();
  const noted = [{ path: ["walls", desk.wall, "asked"], value: [...new Set([...(wall.asked ?? []), name])] }];
  if (later) alongside = noted;
  else change(noted, { label: "no more" });
}

export function select(id) {
  if (desk.selected === id) return;
  desk.selected = id;
  emit("selected");
}
