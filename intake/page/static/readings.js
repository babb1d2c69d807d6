// Tape readings: every length of the wall with the reading by tape and those by laths, and what the estimate asks for.

import { desk, emit } from "./desk.js";
import { $, h } from "./dom.js";
import { get } from "./edits.js";
import { ask, canRedo, canUndo, change, redo, undo } from "./keeper.js";
import { furtherPath, keyParts, lengthGroups, MOST_READINGS, odd, takesLaths, tapePath } from "./lengths.js";
import { read } from "./panels.js";
import { capital, lengthName, ORDINALS } from "./words.js";

let asked = []; // the tape list of the last estimate
let due = null;
let drawn = "";
let drawing = false;

export const askedOf = (wall) => asked.filter((item) => item.wall === wall);

export function hear(state) {
  asked = state.tape_list ?? asked;
}

// Opens the dialog, at a length if one is named.
export function openReadings(key = null) {
  const dialog = $("#readings");
  tell("");
  draw(key);
  if (!dialog.open) dialog.showModal();
  const field = key && dialog.querySelector(`[data-at="${CSS.escape(`${desk.wall} ${key} tape`)}"]`);
  (field ?? $("#readings-body").querySelector("input") ?? dialog.querySelector("button"))?.focus();
  ask("/api/state").then((state) => { hear(state); redrawReadings(); }, () => {});
}

// After a change, once the focus has come to rest where the person sent it.
// No more often than there is something new: a button must not go from under a finger.
export function redrawReadings() {
  if (!$("#readings").open || due !== null || signature() === drawn) return;
  due = setTimeout(() => { due = null; draw(); });
}

const signature = () => JSON.stringify([desk.wall, desk.survey.walls, asked]);

export function stepReadings(event) {
  const { target } = event;
  const typing = target.matches?.("input") && target.value !== target.dataset.shown;
  if (typing || event.key.toLowerCase() !== "z") return;
  event.preventDefault();
  if (event.shiftKey) forth(); else back();
}

function back() {
  tell(canUndo() ? "Undone." : "Nothing is left to undo.");
  undo();
}

function forth() {
  tell(canRedo() ? "Done again." : "Nothing is left to do again.");
  redo();
}

export const tell = (words) => { $("#readings-said").textContent = words; };

function draw(key = null) {
  const body = $("#readings-body");
  drawn = signature();
  const at = body.contains(document.activeElement) ? document.activeElement.dataset : {};
  const typed = [...body.querySelectorAll("input")].filter((i) => i.value !== i.dataset.shown).map((i) => [i.dataset.at, i.value]);
  const folds = [...body.querySelectorAll("details")];
  const open = folds.length ? new Set(folds.filter((d) => d.open).map((d) => d.dataset.id)) : null;
  drawing = true; // a field that is taken away tells of a change: the half-typed number is put back below
  body.replaceChildren(...askedFor(), ...groups(open, key));
  drawing = false;
  for (const [place, value] of typed) {
    const field = body.querySelector(`input[data-at="${CSS.escape(place)}"]`);
    if (field) field.value = value;
  }
  const again = [at.at, at.then, at.at?.replace(/ \S+$/, " tape")].filter(Boolean).map((place) => body.querySelector(`[data-at="${CSS.escape(place)}"]`));
  again.find(Boolean)?.focus({ preventScroll: true });
}

function askedFor() {
  const walls = (desk.survey.walls ?? []).map((w) => w.id);
  const rows = asked.filter((item) => walls.includes(item.wall) && holds(item));
  if (!rows.length) return [];
  return [h("section", { class: "asked" },
    h("h3", null, "The last estimate asks for"),
    rows.map((item) => h("div", { class: "thing" }, h("p", { class: "hint" }, h("b", null, item.wall), ": ", `${item.why}.`), row(item.wall, item.key, "asked ")))),
    h("p", { class: "hint" }, "Once they are read, run perpend estimate again: it counts the boards anew and may ask for less.")];
}

// A thing that has been removed since can no longer be taped.
function holds({ wall, key }) {
  const { list, id } = keyParts(key);
  return !list || get(desk.survey, ["walls", wall, list, id]) !== null;
}

function groups(open, key) {
  const wall = (desk.survey.walls ?? []).find((w) => w.id === desk.wall);
  if (!wall) return [h("p", null, "No wall yet.")];
  return lengthGroups(wall).map(({ id, keys }, index) => {
    const known = new Set(keys);
    const here = (k) => (keyParts(k).id ?? wall.id) === id;
    const all = [...keys, ...Object.keys(wall.more_readings ?? {}).filter((k) => !known.has(k) && here(k))];
    const count = all.reduce((n, k) => n + (tapeOf(wall.id, k) === null ? 0 : 1) + furtherOf(wall.id, k).length, 0);
    const shown = (open ? open.has(id) : index === 0) || all.includes(key);
    return h("details", { "data-id": id, open: shown }, h("summary", null, index ? id : `Wall ${id}`, count ? `, ${count} read` : ""), all.map((k) => row(wall.id, k)));
  });
}

const tapeOf = (wall, key) => get(desk.survey, tapePath(wall, key));
const furtherOf = (wall, key) => get(desk.survey, furtherPath(wall, key)) ?? [];

// One length: the tape's reading, each reading by laths with its strike, and a field for the next.
function row(wall, key, prefix = "") {
  const taped = tapeOf(wall, key);
  const further = furtherOf(wall, key);
  const name = lengthName(key);
  const place = `${prefix}${wall} ${key}`;
  const said = odd(taped, further);
  const laths = (takesLaths(key) && taped !== null) || further.length > 0;
  return h("div", { class: "reading", role: "group", "aria-label": `${wall}, ${name}` },
    h("span", { class: "name" }, keyParts(key).id ? name : capital(name)),
    field(`${place} tape`, "Tape", `${name} by tape, mm`, taped, (value) => {
      change([{ path: tapePath(wall, key), value }], { label: `taped ${name}` });
      tell(value === null ? `Tape reading of the ${name} struck.` : `${value} mm by tape.`);
    }),
    laths && h("span", { class: "laths" }, h("span", null, "By laths"),
      further.map((value, n) => struck(wall, key, place, name, further, value, n)),
      further.length < MOST_READINGS && field(`${place} next`, null, `${name}: ${ORDINALS[further.length] ?? "next"} reading by laths, mm`, null, (value) => {
        if (value === null) return;
        change([{ path: furtherPath(wall, key), value: [...furtherOf(wall, key), value] }], { label: `${name} read again` });
        tell(`${value} mm kept, beside ${further.length + (taped === null ? 0 : 1)} read before.`);
      })),
    said && h("p", { class: "odd" }, h("b", null, "▲ "), said));
}

function field(at, label, spoken, value, take) {
  const shown = value === null ? "" : String(value);
  const input = h("input", {
    type: "text", inputmode: "decimal", autocomplete: "off", value: shown, "aria-label": spoken, "data-at": at, "data-shown": shown,
    placeholder: label ? undefined : "again",
    onchange: () => {
      if (drawing) return;
      const text = input.value.trim();
      const number = read(text);
      if (text && (number === null || number < 0 || number > 100000)) {
        input.setAttribute("aria-invalid", "true");
        tell(`“${text}” is no length. Type millimetres, such as 2424 or 2423.5.`);
        return;
      }
      input.dataset.shown = input.value = label ? text : "";
      take(number);
    },
  });
  return h("label", { class: "inline" }, label, input, "mm");
}

function struck(wall, key, place, name, further, value, n) {
  return h("span", { class: "one" }, `${value} mm`,
    h("button", {
      type: "button", "data-at": `${place} ${n}`, "data-then": n ? `${place} ${n - 1}` : `${place} next`,
      "aria-label": `Strike ${value} mm, ${ORDINALS[n] ?? `${n + 1}th`} reading by laths of ${name}`,
      onclick: () => {
        const left = further.filter((_, other) => other !== n);
        change([{ path: furtherPath(wall, key), value: left.length ? left : null }], { label: `${name}: a reading struck` });
        tell(`${value} mm struck. Undo brings it back.`);
      },
    }, "Strike"));
}

export function setUpReadings() {
  $("#readings-undo").addEventListener("click", back);
  $("#readings-button").addEventListener("click", () => emit("readings"));
}
