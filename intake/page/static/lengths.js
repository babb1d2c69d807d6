// The lengths of a wall that can be taped, where survey.json keeps each, and whether its readings agree. Pure.

export const MOST_READINGS = 20; // what survey.json takes for one length
export const FAR_FROM_TAPE_MM = 8; // four standard uncertainties of a tape reading (invented default; estimator/readings_apart.py)
export const FAR_APART_MM = 5; // readings by laths a hand's breadth apart differ less on a sound wall (invented default)

const WALL = ["width_mm", "width_bottom_mm", "width_top_mm", "height_mm", "height_left_mm", "height_right_mm", "thickness_mm"];
const OPENING = ["width_mm", "height_mm", "left_mm", "sill_mm", "reveal_depth_mm", "thickness_mm"];
const FEATURE = ["left_mm", "bottom_mm", "width_mm", "height_mm"];
const DEEP = /thickness|reveal|frame|plaster/; // two laths do not reach into these

// The keys of all lengths, as the tape list names them, in groups: [{ id, keys }].
export function lengthGroups(wall) {
  const of = (list, names) => (wall[list] ?? []).map(({ id }) => ({ id, keys: names.map((n) => `${list}.${id}.${n}`) }));
  return [{ id: wall.id, keys: WALL }, ...of("openings", OPENING), ...of("features", FEATURE)];
}

// "openings.w1.width_mm" in its parts; names may hold dots.
export function keyParts(key) {
  const [, list, id, name] = key.match(/^(openings|features)\.(.+)\.([a-z_]+)$/) ?? [];
  return { list: list ?? null, id: id ?? null, name: name ?? key };
}

// Where in survey.json the one reading by tape stands.
export function tapePath(wall, key) {
  const { list, id, name } = keyParts(key);
  if (key === "plaster_mm") return ["walls", wall, "site", "extra", key];
  if (!list) return ["walls", wall, "taped", name];
  return ["walls", wall, list, id, ...(name === "visible_frame_mm" ? [] : ["taped"]), name];
}

export const furtherPath = (wall, key) => ["walls", wall, "more_readings", key];

export const takesLaths = (key) => !DEEP.test(keyParts(key).name);

// What is odd about the readings of a length, in words, or null.
export function odd(taped, further) {
  if (!further.length) return null;
  const [low, high] = [Math.min(...further), Math.max(...further)];
  const one = (v) => `${Number(v.toFixed(1))} mm`;
  if (high - low > FAR_APART_MM) {
    return `The readings by laths are ${one(high - low)} apart. Read again near there; strike what was misread.`;
  }
  const mean = further.reduce((sum, v) => sum + v, 0) / further.length;
  if (taped !== null && Math.abs(mean - taped) > FAR_FROM_TAPE_MM) {
    return `The laths say ${one(Math.abs(mean - taped))} ${mean > taped ? "more" : "less"} than the tape. One of them was misread: read both again, strike the wrong one.`;
  }
  return null;
}
