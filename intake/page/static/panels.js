// The panels: one question each, with every answer by mouse, finger or key.

import { desk, emit, wallEntry } from "./desk.js";
import { h } from "./dom.js";
import { identity } from "./edits.js";
import { toggleHidden } from "./hidden.js";
import { change } from "./keeper.js";
import { confirm, notSeen, place, setAsked, setSkirting } from "./marking.js";
import { proposalsFor } from "./proposed.js";
import { freshId, openingsOf } from "./questions.js";
import { choosePhoto } from "./shelf.js";
import { drawStrip, showNext } from "./strip.js";
import { askedOf } from "./readings.js";
import { capital, corner, hint, lengthName, plural, pointName, referenceName, thing } from "./words.js";

let keys = new Map();

// The nodes of a question; what a key does is put into the map.
export function panel(question, answers, missing) {
  keys = answers;
  return [...PANELS[question.kind](question).filter(Boolean), ...missing.slice(0, 2).map(notFoundHere)];
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

// One line for a reference that was looked for here and not found. A press helps to find an outline; a sheet's print
// that cannot be read needs another photo.
function notFoundHere(reference, index) {
  const point = { reference: reference.id, point: "middle" };
  const press = button("Press its middle", index ? null : "f", () => { desk.pinned = point; emit("placed"); });
  const sheet = reference.kind === "survey_sheet";
  return h("p", { class: "aside" }, `${referenceName(reference)} not found in ${desk.photo}. `,
    sheet ? "If you see it, take the photo again from nearer. " : ["If you see it: ", press],
    button("It is not here", null, () => notSeen([{ reference: reference.id }])));
}

function middlePanel({ reference, point }) {
  const name = referenceName(reference);
  const byCorners = () => { desk.byCorners.add(`${desk.photo}|${reference.id}`); desk.pinned = null; emit("placed"); };
  return [
    title(`Press the middle of ${name[0].toLowerCase()}${name.slice(1)}`),
    small("Its outline is looked for round your press."),
    h("div", { class: "row" },
      button("Mark its corners instead", "4", byCorners),
      button("Not seen here", "s", () => { desk.pinned = null; notSeen([{ reference: point.reference }]); })),
  ];
}

function hiddenPanel({ point }) {
  const { lines, loose } = desk.hidden;
  const drawn = `${lines.length} of 2 edges drawn${loose ? ", one place on the next" : ""}.`;
  return [
    title(capital(`${corner(point.point)} corner, hidden`)),
    h("p", { class: "which" }, thing(point)),
    small("Drag along one of the two edges that meet there, where it shows; then along the other. Or press two places on each."),
    h("p", { class: "which", role: "status" }, drawn),
    h("div", { class: "row" }, button("Press the corner itself", "h", () => toggleHidden(point))),
  ];
}

function pointPanel(question) {
  const { point } = question;
  if (desk.hidden?.key === identity(point)) return hiddenPanel(question);
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
      !point.point.startsWith("edge_") && !point.reference && button("Hidden: from its edges", "h", () => toggleHidden(point)),
      isCorner(point) && button("No corner of the wall shows", "x", () => notSeen(cornersLeft())),
      (point.opening || point.feature) && button(point.opening ? `None of this ${point.face === "frame" ? "back edge" : "opening"}` : "None of it here", "x", () => notSeen([whole(point)]))),
  ];
}

const isCorner = (point) => !point.opening && !point.feature && !point.reference && !point.point.startsWith("edge_");
const cornersLeft = () => desk.list.filter((q) => q.kind === "point" && !q.done && isCorner(q.point)).map((q) => q.point);
const whole = ({ wall, opening, face, feature }) => ({ wall, ...(opening && { opening, ...(face === "frame" && { face }) }), ...(feature && { feature }) });

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
    h("div", { class: "row" }, button("Other lengths, or one read again", "t", () => emit("readings"))),
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
  const wanted = askedOf(desk.wall).map((item) => item.key);
  return [
    title("This photo is done for this wall"),
    small(words),
    wanted.length > 0 && small(`The last estimate asks to tape ${wanted.map(lengthName).join(", ")}.`),
    h("div", { class: "row" },
      next && button(`Next photo: ${next}`, "Enter", () => choosePhoto(next), "main"),
      button("Look again", next ? "g" : "Enter", () => emit("look"), next ? "" : "main"),
      button("Tape readings", "t", () => emit("readings")),
      button("Another wall", "w", () => { desk.wall = null; emit("wall"); })),
  ];
}

const PANELS = {
  wall: wallPanel, bar: barPanel, middle: middlePanel, reference: referencePanel, point: pointPanel, skirting: skirtingPanel,
  openings: openingsPanel, features: featuresPanel, tape: tapePanel, confirm: confirmPanel, done: donePanel,
};
