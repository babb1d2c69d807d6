// What the lines in a photo propose before the first press: it counts for nothing until it is confirmed.

import { desk, photoEntry, photoInfo } from "./desk.js";
import { identity, target } from "./edits.js";
import { firstPhoto, freshId, isAnywhere, isNotSeen } from "./questions.js";

// What lines and references propose for this wall in this photo, under ids that the wall has or will get. Once they
// have been answered, or the wall's openings have, they do not come back.
export function proposalsFor(wall) {
  if (!wall || wall.side === "outside") return [];
  const proposed = desk.found[desk.photo]?.proposed ?? [];
  const first = firstPhoto(desk.survey, wall);
  const answered = (wall.asked ?? []).some((name) => name === "proposals" || name === "openings");
  if (answered || ["outside", "bond", "wall_edge"].includes(photoEntry().purpose) || (first && first !== desk.photo)) return [];
  const own = (wall.openings ?? []).map((o) => o.id);
  const names = new Map();
  for (const id of new Set(proposed.map((p) => p.opening).filter(Boolean))) {
    const taken = [...own, ...names.values(), ...(wall.features ?? []).map((f) => f.id)];
    names.set(id, own[names.size] ?? freshId(taken, "w"));
  }
  for (const id of new Set(proposed.map((p) => p.feature).filter(Boolean))) {
    const kind = kindOf(id);
    const named = (wall.features ?? []).filter((f) => f.kind === kind).map((f) => f.id);
    const before = [...names.values()].filter((name) => kindOf(name) === kind).length;
    names.set(id, named[before] ?? freshId([...own, ...named, ...names.values()], kind));
  }
  const renamed = ({ opening, feature }) => ({ ...(opening && { opening: names.get(opening) }), ...(feature && { feature: names.get(feature) }) });
  return proposed.map(({ px, sd_px: sd, ...point }) => ({ ...point, wall: wall.id, ...renamed(point), px, sd }))
    .filter((p) => !isAnywhere(desk.survey, p) && !isNotSeen(desk.survey, desk.photo, p) && inPicture(p.px));
}

// What a proposed feature is: its name without its number.
export const kindOf = (name) => name.replace(/\d+$/, "");

function inPicture([x, y]) {
  const info = photoInfo();
  return info && x >= -0.5 && y >= -0.5 && x < info.width_px - 0.5 && y < info.height_px - 0.5;
}

export function proposalQuestion(wall) {
  const open = proposalsFor(wall);
  if (!open.length) return null;
  const points = open.map((p) => ({ point: target(p), key: identity(p), ring: { px: p.px }, sd: p.sd, proposed: true }));
  return { kind: "confirm", key: "proposals", source: "proposals", points, stamp: points.map((p) => p.key).join() };
}
