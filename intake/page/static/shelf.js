// The Shelf: the survey's photos, what each shows and how far it is.

import { desk, emit, marksIn, on, photoEntry } from "./desk.js";
import { $, h } from "./dom.js";
import { change } from "./keeper.js";
import { plural } from "./words.js";
import { address } from "./view.js";

const PURPOSES = {
  whole: "whole wall", oblique: "from the side", opening: "opening", detail: "detail",
  wall_edge: "wall's edge", outside: "outside", bond: "brickwork",
};

const PATIENCE_MS = 1500;

let drawn = "";
let shown = false; // the small pictures wait until the large one is there, but not for ever

export function drawShelf() {
  const list = $("#photos");
  const files = desk.photos.map((p) => `${p.file}|${p.version}`).join();
  if (files !== drawn) {
    drawn = files;
    list.replaceChildren(...desk.photos.map(card));
  }
  for (const item of list.children) {
    const { file } = item.dataset;
    const here = file === desk.photo;
    item.querySelector("button").setAttribute("aria-current", here ? "true" : "false");
    const words = state(file);
    item.querySelector(".state").textContent = words;
  }
  const chosen = photoEntry().purpose ?? "";
  const select = $("#purpose");
  if (select.value !== chosen) select.value = chosen;
}

function state(file) {
  const info = desk.photos.find((p) => p.file === file);
  if (info.problem ?? desk.found[file]?.problem) return "■ unreadable";
  const marks = marksIn(file).length;
  const sheets = (desk.found[file]?.references ?? []).filter((r) => r.kind === "survey_sheet").length;
  const parts = [];
  if (marks) parts.push(`✓ ${plural(marks, "mark")}`);
  if (sheets) parts.push(plural(sheets, "sheet"));
  return parts.join(", ") || (desk.found[file] ? "no marks yet" : "reading …");
}

function card(info) {
  const picture = info.problem
    ? h("span", { class: "blank" }, "cannot be read")
    : h("img", { [shown ? "src" : "data-src"]: address(info, "size=thumb"), alt: "", loading: "lazy", width: info.width_px, height: info.height_px });
  return h("li", { "data-file": info.file },
    h("button", { type: "button", class: "photo", onclick: () => choosePhoto(info.file) },
      picture, h("span", { class: "name" }, info.file.split(/(?<=[_\-./])/).flatMap((part) => [part, h("wbr")])), h("span", { class: "state" })));
}

export function choosePhoto(file) {
  if (!file || file === desk.photo) return;
  desk.photo = file;
  desk.selected = null;
  emit("photo");
}

export function stepPhoto(by) {
  const index = desk.photos.findIndex((p) => p.file === desk.photo);
  choosePhoto(desk.photos[index + by]?.file);
}

function showSmall() {
  shown = true;
  for (const image of document.querySelectorAll("#photos img[data-src]")) {
    image.src = image.dataset.src;
    delete image.dataset.src;
  }
}

export function setUpShelf() {
  on("shown", showSmall);
  setTimeout(showSmall, PATIENCE_MS);
  $("#purpose").append(h("option", { value: "" }, "not said"),
    ...Object.entries(PURPOSES).map(([value, words]) => h("option", { value }, words)));
  $("#purpose").addEventListener("change", (event) => {
    change([{ path: ["photos", desk.photo, "purpose"], value: event.target.value || null }], { label: "what the photo shows" });
  });
}
