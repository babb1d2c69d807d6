// All marks as a table that can be edited: the same survey for those who would rather not point.

import { desk, emit, say } from "./desk.js";
import { $, h } from "./dom.js";
import { identity, target } from "./edits.js";
import { change } from "./keeper.js";
import { move, remove, seenAfterAll, select } from "./marking.js";
import { allPoints, isMarked } from "./questions.js";
import { pointName, thing } from "./words.js";
import { choosePhoto } from "./shelf.js";

export function openTable() {
  drawTable();
  $("#table").showModal();
}

export function drawTable() {
  const rows = [];
  for (const photo of desk.survey.photos ?? []) {
    for (const mark of photo.marks ?? []) rows.push(row(photo.file, mark));
  }
  const unseen = (desk.survey.photos ?? []).flatMap((p) => (p.not_seen ?? []).map((m) => notSeenRow(p.file, m)));
  $("#table-body").replaceChildren(
    h("div", { class: "scroll" },
      h("table", null,
        h("caption", null, "Marks. Pixels run right and down in the upright photo; an integer is a pixel's middle."),
        h("thead", null, h("tr", null, ["Photo", "Point", "x, px", "y, px", "proud, mm", ""].map((t) => h("th", { scope: "col" }, t)))),
        h("tbody", null, rows.length ? rows : h("tr", null, h("td", { colspan: 6 }, "No marks yet.")))),
      unseen.length > 0 && h("table", null, h("caption", null, "Said to be not seen"), h("tbody", null, unseen))),
    things(),
  );
}

function cell(file, mark, index, name) {
  return h("td", null, h("input", {
    type: "number", step: "0.1", value: index === null ? (mark.proud_mm ?? "") : mark.px[index],
    "aria-label": `${name} of ${pointName(mark)} in ${file}`,
    onchange: (event) => {
      const value = event.target.valueAsNumber;
      if (index === null) {
        const next = { ...mark, proud_mm: Number.isFinite(value) ? value : undefined };
        change([{ path: ["photos", file, "marks", identity(mark)], value: JSON.parse(JSON.stringify(next)) }], { label: "proud" });
        return;
      }
      if (!Number.isFinite(value)) { event.target.value = mark.px[index]; return; }
      const px = [...mark.px];
      px[index] = value;
      inPhoto(file, () => move(identity(mark), px));
    },
  }));
}

function inPhoto(file, run) {
  choosePhoto(file);
  run();
}

function row(file, mark) {
  const id = identity(mark);
  return h("tr", null, h("td", null, file), h("th", { scope: "row" }, pointName(mark)),
    cell(file, mark, 0, "x"), cell(file, mark, 1, "y"), cell(file, mark, null, "proud"),
    h("td", null,
      h("button", { type: "button", onclick: () => { $("#table").close(); inPhoto(file, () => { select(id); emit("go", { point: target(mark), ring: { px: mark.px } }); }); } }, "Show"),
      h("button", { type: "button", onclick: () => inPhoto(file, () => remove(id)) }, "Remove")));
}

function notSeenRow(file, mark) {
  const name = mark.point ? pointName(mark) : thing(mark);
  return h("tr", null, h("td", null, file), h("th", { scope: "row" }, name),
    h("td", null, h("button", { type: "button", onclick: () => seenAfterAll(identity(mark), file) }, "Seen after all")));
}

// Any thing at any time: every point of the wall as a button; openings and features to add, rename or take away.
function things() {
  const wall = (desk.survey.walls ?? []).find((w) => w.id === desk.wall);
  if (!wall) return h("p", null, "No wall yet.");
  const list = allPoints(desk.survey, wall);
  const groups = Map.groupBy(list, (p) => thing(p));
  return h("section", { class: "things" }, h("h3", null, `Ask for any point of ${wall.id} in this photo`),
    [...groups].map(([name, points]) => h("div", { class: "thing" }, h("h4", null, name),
      h("div", { class: "row" }, points.map((point) =>
        h("button", { type: "button", onclick: () => { $("#table").close(); desk.pinned = point; emit("survey"); say(`Asking for ${pointName(point)}`); } },
          `${isMarked(desk.survey, desk.photo, point) ? "✓ " : ""}${pointName(point).replace(` of ${name}`, "").replace(" corner", "")}`)),
      removal(wall, points[0]),
      (points[0].feature || (points[0].opening && points[0].face !== "frame")) && depths(wall, points[0])))));
}

function depths(wall, { opening }) {
  const own = (wall.openings ?? []).find((o) => o.id === opening);
  if (!own) return null;
  const field = (name, label) => h("label", { class: "inline" }, label, h("input", {
    type: "number", min: 0, step: "1", value: own[name] ?? "",
    onchange: (event) => {
      const value = event.target.valueAsNumber;
      change([{ path: ["walls", wall.id, "openings", opening, name], value: Number.isFinite(value) ? value : null }], { label: name });
    },
  }), "mm");
  return [
    h("span", { class: "group" }, field("frame_mm", "Frame depth"), field("visible_frame_mm", "visible frame"), field("outer_reveal_mm", "outer reveal")),
    h("button", { type: "button", onclick: () => { $("#table").close(); emit("readings", `openings.${opening}.width_mm`); } }, `Tape readings of ${opening}`),
  ];
}

function removal(wall, point) {
  if (!point.opening && !point.feature) return null;
  if (point.face === "frame") return null;
  const [list, id] = point.opening ? ["openings", point.opening] : ["features", point.feature];
  if (!(wall[list] ?? []).some((o) => o.id === id)) return null;
  return h("button", { type: "button", class: "danger", onclick: () => removeThing(wall, list, id) }, `Remove ${id} and its marks`);
}

function removeThing(wall, list, id) {
  const key = list === "openings" ? "opening" : "feature";
  const edits = [{ path: ["walls", wall.id, list, id], value: null }];
  for (const photo of desk.survey.photos ?? []) {
    for (const name of ["marks", "not_seen"]) {
      for (const mark of photo[name] ?? []) {
        if (mark[key] === id) edits.push({ path: ["photos", photo.file, name, identity(mark)], value: null });
      }
    }
  }
  change(edits, { label: `remove ${id}` });
}
