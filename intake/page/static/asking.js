// The Asking: which question stands, drawn once, and what a key does while it stands.

import { desk, marksIn, photoEntry, wallEntry } from "./desk.js";
import { $ } from "./dom.js";
import { identity } from "./edits.js";
import { missingHere } from "./hidden.js";
import { panel } from "./panels.js";
import { allPoints, isAnywhere, questions } from "./questions.js";
import { proposalQuestion } from "./proposed.js";
import { drawSketch } from "./sketch.js";
import { SHEET_CORNERS } from "./words.js";

let keys = new Map(); // what a key does while this question stands
let shown = "";

export function drawAsking() {
  const { question } = desk;
  const missing = question.kind === "middle" ? [] : missingHere();
  const signature = [desk.photo, desk.wall, question.key, question.kind, question.stamp ?? "", missing.map((r) => r.id)].join("|");
  drawSketch($("#sketch"), desk);
  if (signature === shown) return;
  shown = signature;
  const { dataset } = $("#question");
  dataset.kind = question.kind;
  dataset.point = question.point ? identity(question.point) : "";
  keys = new Map();
  $("#question").replaceChildren(...panel(question, keys, missing));
  const first = $("#question").querySelector("[data-first]");
  if (first) first.focus({ preventScroll: true });
  else if (document.activeElement === document.body) $("#bench").focus({ preventScroll: true });
}

export function redrawAsking() {
  shown = "";
  drawAsking();
}

export function answerKey(event) {
  const run = keys.get(event.key.length === 1 ? event.key.toLowerCase() : event.key);
  if (!run) return false;
  run();
  return true;
}

// Which question stands now. A pinned point (the person chose it) goes first.
export function decide() {
  const references = desk.found[desk.photo]?.references ?? [];
  const ring = (point) => desk.live?.points?.[desk.photo]?.[identity(point)] ?? null;
  const { purpose } = photoEntry();
  const wall = wallEntry();
  if (desk.wall && !wall) desk.wall = null;
  const list = questions(desk.survey, desk.photo, desk.wall, { references, purpose, ring, out: (key) => desk.leftOut.has(`${desk.photo}|${key}`) });
  desk.list = list;
  let question = list.find((q) => !q.done);
  if (desk.pinned) question = pinnedQuestion(desk.pinned);
  else if (wall && needsReference(wall)) question = referenceQuestion(wall);
  else if (wall && question?.kind !== "bar") question = proposalQuestion(wall) ?? question;
  if (question?.kind === "confirm") question.stamp = question.points.map((p) => p.key).join();
  if (!question) {
    const lacking = allPoints(desk.survey, wall).filter((p) => !isAnywhere(desk.survey, p));
    question = { kind: "done", key: "done", next: nextPhoto(wall), lacking, stamp: `${nextPhoto(wall)}${lacking.length}` };
  }
  desk.question = question;
  if (question.kind !== "point" || desk.hidden?.key !== identity(question.point)) desk.hidden = null;
  else question.stamp = `hidden ${desk.hidden.lines.length} ${desk.hidden.loose !== null}`;
  desk.asked = question.point ?? null;
}

function pinnedQuestion(point) {
  const key = identity(point);
  if (point.point !== "middle") return { kind: "point", key, point, ring: null };
  return { kind: "middle", key, point, reference: (desk.survey.references ?? []).find((r) => r.id === point.reference) };
}

function nextPhoto(wall) {
  const index = desk.photos.findIndex((p) => p.file === desk.photo);
  const order = [...desk.photos.slice(index + 1), ...desk.photos.slice(0, index)];
  return order.find(({ file, problem }) => {
    const entry = photoEntry(file);
    if (problem || (entry.not_seen ?? []).some((m) => identity(m) === `wall=${wall.id}`)) return false;
    if ((entry.marks ?? []).some((m) => m.wall === wall.id)) return false;
    const outside = ["outside", "bond"].includes(entry.purpose);
    return outside === (wall.side === "outside");
  })?.file;
}

function needsReference(wall) {
  const done = (wall.asked ?? []).includes("reference") || Object.keys(wall.taped ?? {}).length > 0;
  if (done || !desk.foundAll) return false;
  const any = Object.values(desk.found).some((f) => (f.references ?? []).length > 0);
  const declared = (desk.survey.references ?? []).filter((r) => r.on === wall.id || !r.on);
  return (!any && declared.length === 0) || referenceCorners(wall).length > 0;
}

function referenceCorners(wall) {
  const seen = (desk.found[desk.photo]?.references ?? []).map((r) => r.id);
  const first = (desk.survey.references ?? []).filter((r) => r.on === wall.id && r.kind !== "survey_sheet" && !seen.includes(r.id));
  const marks = photoEntry().marks ?? [];
  const away = photoEntry().not_seen ?? [];
  return first.flatMap((r) => SHEET_CORNERS.map((point) => ({ reference: r.id, point })))
    .filter((p) => ![...marks, ...away].some((m) => identity(m) === identity(p) || identity(m) === `reference=${p.reference}`));
}

function referenceQuestion(wall) {
  const [point] = referenceCorners(wall);
  const begun = point && marksIn().some((m) => m.reference === point.reference);
  if (point && (begun || desk.byCorners.has(`${desk.photo}|${point.reference}`))) return pinnedQuestion(point);
  if (point) return pinnedQuestion({ reference: point.reference, point: "middle" });
  return { kind: "reference", key: "reference" };
}
