// The Asking: one question at a time, with a sketch, and every answer by mouse, finger or key.

import { desk, emit, photoEntry, photoInfo, wallEntry } from "./desk.js";
import { $, h } from "./dom.js";
import { identity, target } from "./edits.js";
import { change } from "./keeper.js";
import { confirm, notSeen, place, setAsked, setSkirting } from "./marking.js";
import { allPoints, firstPhoto, freshId, isAnywhere, isNotSeen, questions, openingsOf } from "./questions.js";
import { drawSketch } from "./sketch.js";
import { choosePhoto } from "./shelf.js";
import { drawStrip, showNext } from "./strip.js";
import { corner, hint, plural, pointName, thing } from "./words.js";

let keys = new Map(); // what a key does while this question stands
let shown = "";

export function drawAsking() {
  const { question } = desk;
  const signature = `${desk.photo}|${desk.wall}|${question.key}|${question.kind}|${question.stamp ?? ""}`;
  drawSketch($("#sketch"), desk);
  if (signature === shown) return;
  shown = signature;
  const { dataset } = $("#question");
  dataset.kind = question.kind;
  dataset.point = question.kind === "point" ? identity(question.point) : "";
  keys = new Map();
  const make = PANELS[question.kind];
  $("#question").replaceChildren(...make(question).filter(Boolean));
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

function button(words, key, run, kind = "") {
  if (key) keys.set(key, run);
  const shownKey = { Enter: "Enter ↵" }[key] ?? (key ? key.toUpperCase() : null);
  return h("button", { type: "button", class: kind, onclick: run, "aria-keyshortcuts": key ?? undefined },
    h("span", null, words), shownKey && h("kbd", null, shownKey));
}

const title = (words) => h("h2", { id: "asked" }, words);
const small = (words) => h("p", { class: "hint" }, words);

// A form whose Enter is its answer.
function form(fields, submit, words) {
  const node = h("form", { onsubmit: (event) => { event.preventDefault(); submit(new FormData(node)); } },
    fields, h("button", { type: "submit", class: "main" }, h("span", null, words), h("kbd", null, "Enter ↵")));
  if (!keys.has("Enter")) keys.set("Enter", () => node.requestSubmit());
  return node;
}

function number(name, label, unit, attributes = {}) {
  return h("label", { class: "field" }, h("span", null, label),
    h("span", { class: "with-unit" },
      h("input", { name, type: "text", inputmode: "decimal", autocomplete: "off", pattern: "[0-9]+([.,][0-9]+)?", ...attributes }),
      h("span", { class: "unit" }, unit)));
}

export const read = (text) => {
  const value = Number(String(text ?? "").trim().replace(",", "."));
  return text && Number.isFinite(value) ? value : null;
};

// What the walls of a room have in common.
const COPIED = ["room", "faces", "line", "built", "site"];

function addWall(data) {
  const id = String(data.get("id") || "").trim().replace(/[/\\]/g, "-") || "wall";
  const side = data.get("side");
  const taken = (desk.survey.walls ?? []).map((w) => w.id);
  const name = taken.includes(id) ? freshId(taken, `${id}-`) : id;
  const other = data.get("other");
  const like = data.get("like") && (desk.survey.walls ?? []).find((w) => w.id === data.get("like"));
  const copied = like && side === "inside" ? Object.fromEntries(COPIED.filter((k) => like[k] !== undefined).map((k) => [k, like[k]])) : {};
  const wall = { id: name, side, ...structuredClone(copied), ...(side === "outside" && other && { other_side_of: other }) };
  const edits = [{ path: ["walls", name], value: wall }];
  if (!desk.survey.schema_version) edits.unshift({ path: ["schema_version"], value: 1 });
  desk.wall = name;
  change(edits, { label: `wall ${name}` });
  emit("wall");
}

function wallPanel() {
  const walls = desk.survey.walls ?? [];
  const inside = walls.filter((w) => w.side !== "outside");
  const suggestion = walls.length ? freshId(walls.map((w) => w.id), "wall-") : "north";
  return [
    title("Which wall is this?"),
    small("A short name, as you would say it in the house."),
    form([
      h("label", { class: "field" }, h("span", null, "Name"), h("input", { name: "id", value: suggestion, maxlength: 60, "data-first": true, autocomplete: "off" })),
      h("fieldset", { class: "pair" }, h("legend", null, "Seen from"),
        h("label", null, h("input", { type: "radio", name: "side", value: "inside", checked: true }), " inside"),
        h("label", null, h("input", { type: "radio", name: "side", value: "outside" }), " outside")),
      inside.length > 0 && h("label", { class: "field" }, h("span", null, "If outside, the other side of"),
        h("select", { name: "other" }, h("option", { value: "" }, "no wall marked inside"), inside.map((w) => h("option", { value: w.id }, w.id)))),
      inside.length > 0 && h("label", { class: "field" }, h("span", null, "Same room and settings as"),
        h("select", { name: "like" }, inside.toReversed().map((w) => h("option", { value: w.id }, w.id)), h("option", { value: "" }, "none: a new room"))),
    ], addWall, "This wall"),
  ];
}

function barPanel({ reference }) {
  const n = reference.number;
  const id = (desk.survey.references ?? []).find((r) => r.number === n)?.id ?? `sheet-${n}`;
  return [
    title(`Sheet ${n} found. What does its bar read?`),
    small("A rule laid along the printed 250 mm bar, tick to tick. It says at what scale the sheet was printed; without it the order stays provisional."),
    form([number("bar", "Bar reads", "mm", { "data-first": true, placeholder: "250.0" })], (data) => {
      const bar = read(data.get("bar"));
      if (bar === null || bar < 150 || bar > 350) { emit("refused", "The bar reads between 150 and 350 mm."); return; }
      change([{ path: ["references", id], value: { id, kind: "survey_sheet", number: n, bar_mm: bar, on: desk.wall } }], { label: "bar reading" });
    }, "Reads this"),
    h("div", { class: "row" }, button("Nobody measured it", "s", () => setAsked(`bar ${n}`))),
  ];
}

function pointPanel(question) {
  const { point } = question;
  const wall = wallEntry();
  const take = question.ring ?? proposalsFor(wall).find((p) => identity(p) === identity(point));
  return [
    title(capital(`${corner(point.point)} corner`.replace("edge corner", "edge"))),
    h("p", { class: "which" }, thing(point)),
    small(hint(point, { side: wall?.side })),
    small(take ? "Press it in the photo, or Enter takes the ring." : "Press it in the photo."),
    h("div", { class: "row" },
      take && button("Take the ring", "Enter", () => { place(point, take.px, { sd: 2 }); }, "main"),
      button("Not seen here", "s", () => notSeen([point])),
      (point.opening || point.feature) && button(point.opening ? `None of this ${point.face === "frame" ? "back edge" : "opening"}` : "None of it here", "x", () => notSeen([whole(point)]))),
  ];
}

const whole = ({ wall, opening, face, feature }) => ({ wall, ...(opening && { opening, ...(face === "frame" && { face }) }), ...(feature && { feature }) });
const capital = (words) => words[0].toUpperCase() + words.slice(1);

// The skirting of another wall of the house is the likely one here; Enter takes it.
function skirtingElsewhere() {
  for (const photo of desk.survey.photos ?? []) {
    const said = (photo.marks ?? []).find((m) => m.wall !== desk.wall && m.proud_mm > 0 && !m.opening);
    if (said) return said.proud_mm;
  }
  return null;
}

function skirtingPanel() {
  const known = skirtingElsewhere();
  return [
    title("Floor corners: on plaster or on skirting?"),
    small("If a skirting hides where the wall meets the floor, you marked its face. Its thickness puts the marks back onto the wall."),
    form([number("depth", "Skirting stands out", "mm", { "data-first": true, placeholder: "18", value: known ?? "" })], (data) => {
      const depth = read(data.get("depth"));
      if (depth === null || depth > 200) { emit("refused", "A skirting stands out between 0 and 200 mm."); return; }
      setSkirting(depth);
    }, "Skirting"),
    h("div", { class: "row" }, button("Plaster, no skirting", "p", () => setSkirting(0))),
  ];
}

export function addOpening(kind) {
  const wall = wallEntry();
  const taken = [...openingsOf(desk.survey, wall), ...(wall.features ?? [])].map((o) => o.id);
  const id = freshId(taken, kind === "door" ? "d" : kind === "window" ? "w" : "o");
  change([{ path: ["walls", wall.id, "openings", id], value: { id, kind } }], { label: `${kind} ${id}` });
}

export function addFeature(kind) {
  const wall = wallEntry();
  const taken = [...openingsOf(desk.survey, wall), ...(wall.features ?? [])].map((o) => o.id);
  const id = freshId(taken, { socket: "socket", switch: "switch", radiator: "rad", pipe: "pipe", vent: "vent" }[kind] ?? "thing");
  change([{ path: ["walls", wall.id, "features", id], value: { id, kind } }], { label: `${kind} ${id}` });
}

const OPENINGS = ["window", "door", "opening"];
export const FEATURES = ["socket", "switch", "radiator", "pipe", "vent", "skirting line", "coving line", "other"];

function openingsPanel() {
  const count = openingsOf(desk.survey, wallEntry()).length;
  return [
    title(count ? "Another window or door?" : "A window or door in this wall?"),
    small("Each gets four corners on the face of the wall, then four deep in the reveal."),
    h("div", { class: "choices" }, OPENINGS.map((kind, i) => button(capital(kind === "opening" ? "other opening" : kind), String(i + 1), () => addOpening(kind)))),
    h("div", { class: "row" }, button(count ? "No more" : "None", "Enter", () => setAsked("openings"), "main")),
  ];
}

function featuresPanel() {
  const count = (wallEntry().features ?? []).length;
  return [
    title(count ? "Anything else fixed to the wall?" : "What is fixed to the wall?"),
    small("Each gets two presses: bottom left, then top right."),
    h("div", { class: "choices" }, FEATURES.map((kind, i) => button(capital(kind), String(i + 1), () => addFeature(kind)))),
    h("div", { class: "row" }, button(count ? "No more" : "Nothing", "Enter", () => setAsked("features"), "main")),
  ];
}

function tapePanel() {
  const wall = wallEntry();
  return [
    title("Did anyone tape this wall?"),
    small("One reading, wall to wall at half height, beats any photo. Leave empty what was not taped."),
    form([
      number("width_mm", "Width at half height", "mm", { "data-first": true, value: wall.taped?.width_mm ?? "" }),
      number("height_mm", "Height at half width", "mm", { value: wall.taped?.height_mm ?? "" }),
      openingsOf(desk.survey, wall).filter((o) => (wall.openings ?? []).some((own) => own.id === o.id)).map((o) =>
        number(`frame ${o.id}`, `${capital(o.kind ?? "opening")} ${o.id}: depth of the frame`, "mm", { value: o.frame_mm ?? "" })),
    ], (data) => {
      const edits = [];
      for (const [name, text] of data) {
        const value = read(text);
        if (value === null) continue;
        const path = name.startsWith("frame ") ? ["openings", name.slice(6), "frame_mm"] : ["taped", name];
        edits.push({ path: ["walls", wall.id, ...path], value });
      }
      edits.push({ path: ["walls", wall.id, "asked"], value: [...new Set([...(wall.asked ?? []), "tape"])] });
      change(edits, { label: "tape readings" });
    }, "Go on"),
  ];
}

function referencePanel() {
  const add = (kind, size = {}) => () => {
    const id = freshId((desk.survey.references ?? []).map((r) => r.id), { id1_card: "card", a4: "a4-" }[kind] ?? "ref");
    change([{ path: ["references", id], value: { id, kind, on: desk.wall, ...size } }], { label: `reference ${id}` });
  };
  return [
    title("No survey sheet found. Is anything of known size on the wall?"),
    small("Without one the shape is known but not the size; then a tape reading is needed."),
    h("div", { class: "choices" },
      button("Library or bank-size card", "1", add("id1_card")),
      button("Plain A4 sheet", "2", add("a4"))),
    form([number("w", "Other flat thing: width", "mm"), number("h", "and height", "mm")], (data) => {
      const [w, t] = [read(data.get("w")), read(data.get("h"))];
      if (!w || !t) { emit("refused", "Type both sizes of the flat thing, in mm."); return; }
      add("rectangle", { width_mm: w, height_mm: t })();
    }, "Mark its corners"),
    h("div", { class: "row" }, button("Nothing", "s", () => setAsked("reference"))),
  ];
}

export const confirmWords = (left) => (left ? `Show the next ${left}` : "Confirm all that fit");

function confirmPanel(question) {
  const proposed = question.source === "proposals";
  const points = question.points;
  const go = () => {
    const unseen = points.filter((p) => !desk.looked.has(`${desk.photo}|${p.key}`));
    if (unseen.length && showNext(strip, points)) return;
    const fit = points.filter((p) => !p.out && p.at);
    for (const p of points.filter((q) => q.out)) desk.leftOut.add(`${desk.photo}|${p.key}`);
    if (proposed) setAsked("proposals", { later: fit.length > 0 });
    else if (!fit.length) emit("survey");
    if (fit.length) confirm(fit.map((p) => ({ point: p.point, px: p.at, sd: p.sd })));
  };
  const left = points.filter((p) => !desk.looked.has(`${desk.photo}|${p.key}`)).length;
  const strip = h("div", { class: "strip", id: "strip" });
  drawStrip(strip, points);
  return [
    title(proposed ? `${plural(points.length, "corner")} proposed` : `${plural(points.length, "point")} to confirm`),
    small(proposed
      ? "Found from the lines in the photo. Look through the close-ups: press one to put it right in the photo, its cross to leave it out."
      : "Here is where the solution says they are. Look through the close-ups; press one to put it right in the photo."),
    strip,
    h("div", { class: "row" },
      button(confirmWords(left), "a", go, "main"),
      button("None of them", "x", () => (proposed ? setAsked("proposals") : emit("no-rings", points))),
      !proposed && button("Not this wall", "s", () => notSeen([{ wall: desk.wall }]))),
  ];
}

function donePanel(question) {
  const { next, lacking } = question;
  const words = lacking.length ? `Still nowhere: ${lacking.slice(0, 4).map(pointName).join("; ")}${lacking.length > 4 ? ` and ${lacking.length - 4} more` : ""}.` : "Every point of this wall is marked in some photo.";
  return [
    title("This photo is done for this wall"),
    small(words),
    h("div", { class: "row" },
      next && button(`Next photo: ${next}`, "Enter", () => choosePhoto(next), "main"),
      button("Look again", next ? "g" : "Enter", () => emit("look"), next ? "" : "main"),
      button("Another wall", "w", () => { desk.wall = null; emit("wall"); })),
  ];
}

const PANELS = {
  wall: wallPanel, bar: barPanel, reference: referencePanel, point: pointPanel, skirting: skirtingPanel,
  openings: openingsPanel, features: featuresPanel, tape: tapePanel, confirm: confirmPanel, done: donePanel,
};

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
  if (desk.pinned) question = { kind: "point", key: identity(desk.pinned), point: desk.pinned, ring: null };
  else if (wall && needsReference(wall)) question = referenceQuestion(wall);
  else if (wall && question?.kind !== "bar") question = proposalQuestion(wall) ?? question;
  if (question?.kind === "confirm") question.stamp = question.points.map((p) => p.key).join();
  if (!question) {
    const lacking = allPoints(desk.survey, wall).filter((p) => !isAnywhere(desk.survey, p));
    question = { kind: "done", key: "done", next: nextPhoto(wall), lacking, stamp: `${nextPhoto(wall)}${lacking.length}` };
  }
  desk.question = question;
  desk.asked = question.kind === "point" ? question.point : null;
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
  return first.flatMap((r) => ["top_left", "top_right", "bottom_right", "bottom_left"].map((point) => ({ reference: r.id, point })))
    .filter((p) => ![...marks, ...away].some((m) => identity(m) === identity(p) || identity(m) === `reference=${p.reference}`));
}

function referenceQuestion(wall) {
  const [point] = referenceCorners(wall);
  if (point) return { kind: "point", key: identity(point), point, ring: null };
  return { kind: "reference", key: "reference" };
}

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
  return proposed.map(({ px, sd_px: sd, ...point }) => ({ ...point, wall: wall.id, ...(point.opening && { opening: names.get(point.opening) }), px, sd }))
    .filter((p) => !isAnywhere(desk.survey, p) && !isNotSeen(desk.survey, desk.photo, p) && inPicture(p.px));
}

function inPicture([x, y]) {
  const info = photoInfo();
  return info && x >= -0.5 && y >= -0.5 && x < info.width_px - 0.5 && y < info.height_px - 0.5;
}

function proposalQuestion(wall) {
  const open = proposalsFor(wall);
  if (!open.length) return null;
  const points = open.map((p) => ({ point: target(p), key: identity(p), ring: { px: p.px }, sd: p.sd, proposed: true }));
  return { kind: "confirm", key: "proposals", source: "proposals", points, stamp: points.map((p) => p.key).join() };
}
