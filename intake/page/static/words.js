// Names of things and numbers, for people.

import { keyParts } from "./lengths.js";

const POINTS = {
  bottom_left: "bottom left",
  bottom_right: "bottom right",
  top_right: "top right",
  top_left: "top left",
  edge_inner: "inner edge",
  edge_outer: "outer edge",
};

export const CORNERS = ["bottom_left", "bottom_right", "top_right", "top_left"];

export const SHEET_CORNERS = ["top_left", "top_right", "bottom_right", "bottom_left"];

export const ORDINALS = ["first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth"];

export const capital = (words) => words[0].toUpperCase() + words.slice(1);

export const corner = (point) => POINTS[point] ?? point;

export function thing(target) {
  if (target.reference) return `reference ${target.reference}`;
  if (target.feature) return target.feature;
  if (target.opening) return target.face === "frame" ? `${target.opening}, back edge` : target.opening;
  return `wall ${target.wall}`;
}

export function referenceName({ id, kind, number }) {
  if (kind === "survey_sheet") return `Sheet ${number ?? id}`;
  return `${{ id1_card: "Card", a4: "A4 sheet" }[kind] ?? "Thing"} ${id}`;
}

export function pointName(target) {
  if (target.point === "middle") return `middle of ${thing(target)}`;
  if (target.point.startsWith("edge_")) return `${corner(target.point)} of ${thing(target)}`;
  return `${corner(target.point)} corner of ${thing(target)}`;
}

export function hint(target, { side, skirting } = {}) {
  if (target.reference) return "The corner of the thing itself, as you see it in the photo.";
  if (target.feature) return "The outer corner of its front face. How far it stands out is assumed from its kind; Marks shows and changes it.";
  if (target.point === "edge_inner") return "Where the inside plaster ends.";
  if (target.point === "edge_outer") return "Where the outer face of the wall ends.";
  if (target.opening && target.face === "frame") return "Deep in the reveal, where it meets the window or door frame.";
  if (target.opening) return side === "outside" ? "On the brick face, where the opening begins." : "On the face of the wall, where the plaster turns into the reveal.";
  if (target.point.startsWith("bottom")) {
    return skirting ? "Where wall and floor meet; on the face of the skirting if it hides the wall." : "Where wall, side wall and floor meet.";
  }
  return "Where wall, side wall and ceiling meet.";
}

export function mm(value) {
  const whole = Math.round(value);
  return String(Math.abs(whole)).replace(/\B(?=(\d{3})+$)/g, " ").replace(/^/, whole < 0 ? "−" : "");
}

// "3 871 mm, give or take 10": two standard uncertainties, rounded up to a whole millimetre.
export function size(measured) {
  if (!measured) return { value: "–", range: "not measured", spoken: "not measured" };
  const range = Math.max(1, Math.ceil(2 * measured.sd - 0.05));
  return { value: mm(measured.value), range: `± ${mm(range)}`, spoken: `${Math.round(measured.value)} millimetres, give or take ${range}` };
}

export const clock = (date) => date.toLocaleTimeString("en-GB", { hour: "2-digit", minute: "2-digit" });

export const plural = (n, one, many = `${one}s`) => `${n} ${n === 1 ? one : many}`;

const KEYS = {
  width_mm: "width at half height", height_mm: "height at half width", left_mm: "distance from the left", sill_mm: "height above the floor",
  reveal_depth_mm: "reveal depth", thickness_mm: "thickness", width_bottom_mm: "width along the floor", width_top_mm: "width along the ceiling",
  height_left_mm: "height at the left", height_right_mm: "height at the right", bottom_mm: "height above the floor",
  visible_frame_mm: "frame seen beside the reveal", plaster_mm: "thickness of the plaster",
};

// "openings.w1.width_mm" as "w1's width ...".
export function sizeName(key) {
  const { id, name } = keyParts(key);
  const words = KEYS[name] ?? name.replace(/_mm$/, "").replaceAll("_", " ");
  return id ? `${id}'s ${words.replace(/ at half .*/, "")}` : `the wall's ${words}`;
}

export const lengthName = (key) => sizeName(key).replace("the wall's ", "");

export const helpWords = ({ action, key }) => (action.startsWith("tape ") ? `tape ${sizeName(key)}` : action);
