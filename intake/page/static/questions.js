// What is still to be asked of a wall in a photo, in the surveyor's order. Pure: survey in, questions out.

import { identity } from "./edits.js";
import { CORNERS } from "./words.js";

const wallOf = (survey, id) => (survey.walls ?? []).find((w) => w.id === id) ?? null;
const entryOf = (survey, file) => (survey.photos ?? []).find((p) => p.file === file) ?? { file };
const has = (list, id) => (list ?? []).some((m) => identity(m) === id);

export const wallCorners = (wall) => CORNERS.map((point) => ({ wall: wall.id, point }));

export function openingPoints(wall, opening, face) {
  return CORNERS.map((point) => ({ wall: wall.id, opening: opening.id, face, point }));
}

export function featurePoints(wall, feature) {
  return ["bottom_left", "top_right"].map((point) => ({ wall: wall.id, feature: feature.id, point }));
}

export const edgePoints = (wall) => ["edge_inner", "edge_outer"].map((point) => ({ wall: wall.id, point }));

// Openings of the other side count for an outside face: its marks use the inside ids.
export function openingsOf(survey, wall) {
  const inside = wall.other_side_of ? wallOf(survey, wall.other_side_of) : null;
  return [...(wall.openings ?? []), ...(inside?.openings ?? [])];
}

export function allPoints(survey, wall) {
  const openings = openingsOf(survey, wall);
  return [
    ...wallCorners(wall),
    ...openings.flatMap((o) => openingPoints(wall, o, "wall")),
    ...openings.flatMap((o) => openingPoints(wall, o, "frame")),
    ...(wall.features ?? []).flatMap((f) => featurePoints(wall, f)),
  ];
}

export function isMarked(survey, file, point) {
  return has(entryOf(survey, file).marks, identity(point));
}

// Not seen: the point itself, its face, its opening or feature, or the whole wall.
export function isNotSeen(survey, file, point) {
  const wider = [
    point,
    { ...point, point: undefined },
    { ...point, point: undefined, face: undefined },
    { wall: point.wall },
  ].map(identity);
  return wider.some((id) => has(entryOf(survey, file).not_seen, id));
}

export function isAnywhere(survey, point) {
  return (survey.photos ?? []).some((p) => has(p.marks, identity(point)));
}

// The photo that the wall is first marked in; the others follow from it.
export function firstPhoto(survey, wall) {
  return (survey.photos ?? []).find((p) => (p.marks ?? []).some((m) => m.wall === wall.id))?.file ?? null;
}

const asked = (wall, name) => (wall.asked ?? []).includes(name);

// The questions of one wall in one photo, each {kind, key, done, ...}. `ring(point)` tells what the solution says of
// a point here: {px, inside} or null.
export function questions(survey, file, wallId, { references = [], purpose = null, ring = () => null, out = () => false } = {}) {
  const wall = wallOf(survey, wallId);
  if (!wall) return [{ kind: "wall", key: "wall", done: false }];
  const list = [];
  for (const reference of references) {
    if (reference.kind !== "survey_sheet") continue;
    const declared = (survey.references ?? []).find((r) => r.number === reference.number);
    list.push({ kind: "bar", key: `bar ${reference.number}`, reference, done: declared?.bar_mm != null || asked(wall, `bar ${reference.number}`) });
  }
  const first = firstPhoto(survey, wall);
  const later = first !== null && first !== file;
  const todo = (point) => {
    const done = isMarked(survey, file, point) || isNotSeen(survey, file, point);
    const where = done ? null : ring(point);
    return { kind: "point", key: identity(point), point, done: done || (where !== null && !where.inside), ring: where };
  };
  if (purpose === "bond") return list;
  if (purpose === "wall_edge") return [...list, ...edgePoints(wall).map(todo)];
  const openings = openingsOf(survey, wall);
  const corners = wallCorners(wall).map(todo);
  const rest = [
    ...openings.flatMap((o) => openingPoints(wall, o, "wall").map(todo)),
    ...openings.flatMap((o) => openingPoints(wall, o, "frame").map(todo)),
    ...(wall.features ?? []).flatMap((f) => featurePoints(wall, f).map(todo)),
  ];
  if (later) {
    const rings = [...corners, ...rest].filter((q) => !q.done && q.ring && !out(q.key));
    if (rings.length) {
      return [...list, { kind: "confirm", key: "confirm", source: "solution", points: rings, done: false }];
    }
    return [...list, ...corners, ...rest];
  }
  list.push(...corners);
  if (wall.side !== "outside") {
    const floor = (entryOf(survey, file).marks ?? []).filter((m) => m.wall === wall.id && !m.opening && !m.feature && m.point.startsWith("bottom"));
    const answered = floor.length === 0 ? corners.every((c) => c.done) : floor.every((m) => m.proud_mm !== undefined);
    list.push({ kind: "skirting", key: "skirting", done: answered, marks: floor });
  }
  for (const opening of openings) {
    const points = [...openingPoints(wall, opening, "wall"), ...openingPoints(wall, opening, "frame")].map(todo);
    list.push(...points);
  }
  if (!wall.other_side_of) list.push({ kind: "openings", key: "openings", done: asked(wall, "openings") });
  list.push(...(wall.features ?? []).flatMap((f) => featurePoints(wall, f).map(todo)));
  if (wall.side !== "outside") {
    list.push({ kind: "features", key: "features", done: asked(wall, "features") });
    list.push({ kind: "tape", key: "tape", done: asked(wall, "tape") });
  }
  return list;
}

export const nextQuestion = (list) => list.find((q) => !q.done) ?? { kind: "done", key: "done", done: true };

export function freshId(taken, stem) {
  for (let n = 1; ; n += 1) if (!taken.includes(`${stem}${n}`)) return `${stem}${n}`;
}
