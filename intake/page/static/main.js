// The marking page: puts its parts on the desk and lets them hear of each change.

import { answerKey, decide, drawAsking, redrawAsking } from "./asking.js";
import { desk, emit, marksIn, on, photoInfo, say } from "./desk.js";
import { $, h, s } from "./dom.js";
import { identity } from "./edits.js";
import { drawElevation } from "./elevation.js";
import { Glass } from "./glass.js";
import { Hand } from "./hand.js";
import { seekReference } from "./hidden.js";
import { lookAgain } from "./look.js";
import { canRedo, canUndo, keepMine, open, redo, restore, status, takeTheirs, undo } from "./keeper.js";
import { keepRaw, markOf, move, remove, select } from "./marking.js";
import { drawMarks } from "./marks.js";
import { confirmWords } from "./panels.js";
import { firstPhoto } from "./questions.js";
import { hear, openReadings, redrawReadings, setUpReadings, stepReadings, tell as tellReadings } from "./readings.js";
import { choosePhoto, drawShelf, setUpShelf, stepPhoto } from "./shelf.js";
import { useView } from "./strip.js";
import { drawTable, openTable } from "./table.js";
import { drawTally } from "./tally.js";
import { View } from "./view.js";
import { clock, plural, pointName, sizeName } from "./words.js";

const stage = $("#bench");
const svg = $("#marks");
const view = new View(stage, $("#picture"), () => { drawOverlay(); tell(); glass.draw(); $("#strip")?.paint?.(); });
const glass = new Glass($("#glass"), view);
const hand = new Hand(stage, view, glass);
useView(view);

let aim = null;

function drawOverlay() {
  drawMarks(svg, view);
  if (!aim) return;
  const [x, y] = view.toScreen(aim);
  for (const name of ["halo", "line aim"]) {
    svg.append(s("path", { class: name, d: `M${x - 18} ${y}h13M${x + 5} ${y}h13M${x} ${y - 18}v13M${x} ${y + 5}v13` }));
  }
}

// What a tool that reads the page (or a test) may want to know of its state.
function tell() {
  const root = document.documentElement.dataset;
  root.waiting = String(status.waiting + desk.busy);
  root.live = desk.live?.revision ?? "";
  root.found = desk.foundAll ? "all" : "some";
  stage.dataset.view = [view.scale, view.x, view.y].map((v) => v.toFixed(4)).join(" ");
  stage.dataset.photo = desk.photo ?? "";
}

function drawAll() {
  decide();
  drawAsking();
  drawShelf();
  drawOverlay();
  drawTally();
  drawElevation($("#drawing"));
  drawTop();
  drawPad();
  tell();
  if ($("#table").open) drawTable();
  redrawReadings();
}

function drawTop() {
  $("#undo").disabled = !canUndo();
  $("#redo").disabled = !canRedo();
  const walls = desk.survey.walls ?? [];
  const select = $("#wall");
  const options = [...walls.map((w) => h("option", { value: w.id }, w.side === "outside" ? `${w.id} (outside)` : w.id)), h("option", { value: "" }, "another wall …")];
  select.replaceChildren(...options);
  select.value = desk.wall ?? "";
  $("#title").textContent = desk.survey.title ?? desk.folder;
  const list = desk.list ?? [];
  const points = list.filter((q) => q.kind === "point");
  $("#progress").textContent = points.length ? `${points.filter((q) => q.done).length} of ${points.length} points in this photo` : "";
  const info = photoInfo();
  const problem = info?.problem ?? desk.found[desk.photo]?.problem;
  $("#unreadable").hidden = !problem;
  if (problem) $("#unreadable").textContent = problem;
}

function drawStatus() {
  const node = $("#saved");
  const waiting = status.waiting ? `, ${plural(status.waiting, "change")} kept in this browser` : "";
  const words = {
    saved: status.waiting ? "Saving …" : status.at ? `✓ Saved ${clock(status.at)}` : "✓ All saved",
    gone: `■ Server gone${waiting || ", marks kept"}; start perpend mark again`,
    locked: `■ The server was started again: open its new page${waiting}`,
  }[status.kind];
  if (node.textContent !== words) node.textContent = words;
  node.className = status.kind;
  drawConflict();
}

function drawConflict() {
  const box = $("#conflict");
  if (desk.problem) {
    box.replaceChildren(h("h2", null, "survey.json cannot be read"), h("p", null, desk.problem),
      h("p", null, "Someone changed it by hand. Mend it in the editor, and the page goes on by itself; or put the last good version back. The broken file is kept as survey.json.broken."),
      h("button", { type: "button", onclick: restore }, "Put the last good version back"));
  } else if (status.conflicts) {
    box.replaceChildren(h("h2", null, "Changed elsewhere meanwhile"),
      h("p", null, "The same thing was changed in another page or in the file:"),
      h("ul", null, status.conflicts.map((c) => h("li", null, h("b", null, placeName(c.path)), h("br"), `here: ${brief(c.mine)}`, h("br"), `there: ${brief(c.theirs)}`))),
      h("button", { type: "button", class: "main", onclick: keepMine }, "Keep mine"),
      h("button", { type: "button", onclick: takeTheirs }, "Take theirs"));
  }
  const needed = Boolean(desk.problem || status.conflicts);
  if (needed) document.querySelector("dialog:modal")?.close();
  if (needed && !box.open) { box.show(); box.querySelector("button").focus(); }
  if (!needed && box.open) box.close();
}

function placeName(path) {
  const [list, file, marks, id] = path;
  if (marks === "more_readings" || marks === "taped") return `${sizeName(id)}, wall ${file}`;
  if (list !== "photos" || marks !== "marks" || !id) return path.join(", ");
  return `${pointName(Object.fromEntries(id.split(";").map((part) => part.split("="))))} in ${file}`;
}

const brief = (value) => (value === null ? "removed" : value.px ? `at ${value.px.join(", ")}` : JSON.stringify(value));

function notice(words) {
  const node = $("#notice");
  tellReadings(words);
  node.textContent = words;
  node.hidden = false;
  clearTimeout(node.timer);
  node.timer = setTimeout(() => { node.hidden = true; }, 9000);
}

function toPhoto() {
  view.setPhoto(desk.photo);
  hand.endCursor();
  desk.pinned = null;
  for (const step of [1, -1]) {
    const index = desk.photos.findIndex((p) => p.file === desk.photo) + step;
    const next = desk.photos[index];
    if (next && !next.problem) setTimeout(() => view.base(next), 600); // the neighbours are ready before they are asked for
  }
  drawAll();
}

on("survey live", drawAll);
on("photo", toPhoto);
on("wall", () => { desk.selected = null; desk.pinned = null; drawAll(); });
on("selected", () => { hand.endCursor(); drawOverlay(); drawPad(); });
on("status", () => { drawStatus(); drawTop(); tell(); });
on("busy", tell);
on("problem", drawStatus);
on("refused", notice);
on("doubtful", ({ px, far }) => {
  notice(`Moved ${Math.round(far)} px, to the nearest edges that show. If they are not the corner’s own, K keeps your press.`);
  glass.show(px, null);
});
on("placed", drawAll);
on("aim", (px) => { aim = px; drawOverlay(); });
on("looked", () => { if (desk.question.kind === "confirm") relabel(); });
on("stepped", ({ photo, wall }) => {
  if (wall) desk.wall = wall;
  if (photo && photo !== desk.photo) choosePhoto(photo);
});
on("go", ({ point, ring }) => {
  view.goTo(ring.px, 1);
  if (markOf(identity(point))) select(identity(point));
  else { desk.pinned = point; redrawAsking(); drawAll(); }
  stage.focus({ preventScroll: true });
});
on("no-rings", (points) => { for (const p of points) desk.leftOut.add(`${desk.photo}|${p.key}`); drawAll(); });
on("server-live", (live) => { desk.live = live; emit("live"); });
on("server-found", (found) => { desk.found = found.photos; desk.foundAll = found.complete; redrawIdle(); });
on("suspect", ({ suspect, action }) => {
  choosePhoto(suspect.photo);
  if (action === "remove") remove(suspect.identity);
  if (action === "mine") { desk.kept.add(`${suspect.photo}|${suspect.identity}`); drawAll(); }
  if (action === "go") {
    move(suspect.identity, suspect.px);
    select(suspect.identity);
    view.goTo(suspect.px, 1);
  }
});
on("look", lookAgain);
on("readings", openReadings);
on("seek", ({ id, px }) => seekReference(id, px));

// News must not take away a form that someone is typing in.
function redrawIdle() {
  if (document.activeElement?.closest("#question form")) { drawShelf(); drawOverlay(); return; }
  drawAll();
}

function relabel() {
  const left = desk.question.points.filter((p) => !desk.looked.has(`${desk.photo}|${p.key}`)).length;
  const main = $("#question button.main span");
  if (main) main.textContent = confirmWords(left);
}

function drawPad() {
  const mark = desk.selected && markOf(desk.selected);
  for (const button of document.querySelectorAll("#pad button, #pad input")) button.disabled = !mark;
  $("#pad-raw").disabled = !mark || !desk.raw.has(`${desk.photo}|${desk.selected}`);
  $("#chosen").textContent = mark ? `${pointName(mark)}: ${mark.px.map((v) => v.toFixed(1)).join(", ")} px` : "";
}

const letters = () => localStorage.getItem("perpend:letters") !== "off";

function key(event) {
  if ((event.ctrlKey || event.metaKey) && event.target.closest("#readings")) { stepReadings(event); return; }
  if (event.target.closest("input, select, textarea") || document.querySelector("dialog:modal")) {
    if (event.key === "Escape" && event.target.closest("#question")) stage.focus({ preventScroll: true });
    return;
  }
  const command = event.ctrlKey || event.metaKey;
  if (command && event.key.toLowerCase() === "z") {
    event.preventDefault();
    if (event.shiftKey) redo(); else undo();
    return;
  }
  if (command && event.key.toLowerCase() === "y") { event.preventDefault(); redo(); return; }
  if (command) return;
  const onButton = event.target.closest("button, a, summary");
  if (event.key.startsWith("Arrow")) {
    if (event.target !== stage && event.target !== document.body) return;
    event.preventDefault();
    hand.arrow(event);
    return;
  }
  if (event.key === "Enter" && onButton) return;
  if (event.key === "Enter" && hand.cursor) { event.preventDefault(); hand.dropCursor(); return; }
  if (event.key.length === 1 && !letters()) return;
  const run = KEYS[event.key] ?? KEYS[event.key.toLowerCase()];
  if (answerKey(event) || (run && (run(event), true))) event.preventDefault();
}

const KEYS = {
  Escape: () => { hand.endCursor(); select(null); desk.pinned = null; desk.hidden = null; drawAll(); },
  Delete: () => remove(),
  Backspace: () => remove(),
  k: () => keepRaw(view.scale),
  n: () => stepMark(1),
  p: () => stepMark(-1),
  c: () => { select(null); hand.startCursor(); },
  "[": () => stepPhoto(-1),
  "]": () => stepPhoto(1),
  "+": () => zoom(1.5),
  "=": () => zoom(1.5),
  "-": () => zoom(1 / 1.5),
  0: () => view.fit(),
  m: openTable,
  t: () => openReadings(),
  g: lookAgain,
  "?": () => $("#keys").showModal(),
};

function zoom(factor) {
  const middle = desk.selected ? view.toScreen(markOf(desk.selected).px) : hand.cursor ? view.toScreen(hand.cursor) : [stage.clientWidth / 2, stage.clientHeight / 2];
  view.zoomAt(...middle, factor);
}

function stepMark(by) {
  const marks = marksIn();
  if (!marks.length) return;
  const index = marks.findIndex((m) => identity(m) === desk.selected);
  const mark = marks.at((index + by + marks.length) % marks.length);
  select(identity(mark));
  if (!view.shows(mark.px)) view.goTo(mark.px);
  glass.show(mark.px, null);
  say(pointName(mark));
}

function setUp() {
  setUpShelf();
  setUpReadings();
  $("#undo").addEventListener("click", undo);
  $("#redo").addEventListener("click", redo);
  $("#look-button").addEventListener("click", lookAgain);
  $("#marks-button").addEventListener("click", openTable);
  $("#keys-button").addEventListener("click", () => $("#keys").showModal());
  $("#letters").checked = letters();
  $("#letters").addEventListener("change", (e) => localStorage.setItem("perpend:letters", e.target.checked ? "on" : "off"));
  $("#wall").addEventListener("change", (e) => { desk.wall = e.target.value || null; emit("wall"); });
  $("#zoom-in").addEventListener("click", () => zoom(1.5));
  $("#zoom-out").addEventListener("click", () => zoom(1 / 1.5));
  $("#zoom-fit").addEventListener("click", () => view.fit());
  for (const button of document.querySelectorAll("#pad [data-arrow]")) {
    button.addEventListener("click", (e) => hand.arrow({ key: button.dataset.arrow, shiftKey: e.shiftKey, altKey: e.altKey || $("#fine").checked }));
  }
  $("#pad-raw").addEventListener("click", () => keepRaw(view.scale));
  $("#pad-remove").addEventListener("click", () => remove());
  for (const dialog of document.querySelectorAll("dialog")) {
    dialog.querySelector("[data-close]")?.addEventListener("click", () => dialog.close());
  }
  addEventListener("keydown", key);
}

async function begin() {
  setUp();
  const state = await open();
  desk.photos = state.photos;
  desk.folder = state.folder;
  desk.live = state.live;
  hear(state);
  $("#empty").hidden = state.photos.length > 0;
  const inside = (desk.survey.walls ?? []).find((w) => w.side !== "outside") ?? desk.survey.walls?.[0];
  desk.wall = inside?.id ?? null;
  const whole = (desk.survey.photos ?? []).find((p) => p.purpose === "whole")?.file;
  desk.photo = (inside && firstPhoto(desk.survey, inside)) ?? whole ?? state.photos.find((p) => !p.problem)?.file ?? null;
  if (desk.photo) toPhoto();
  else drawAll();
  drawStatus();
  if (!document.activeElement?.closest("#question")) stage.focus({ preventScroll: true });
  document.documentElement.dataset.ready = "yes";
}

begin();
