// The Tally at the foot: the sizes with their give-or-take, what limits them, what would help, what is doubtful.

import { desk, emit } from "./desk.js";
import { $, h } from "./dom.js";
import { corner, helpWords, plural, size, thing } from "./words.js";

const SIGNS = { stop: "■ stop", warn: "▲ warn", note: "○ note" };

function entry(label, measured) {
  const { value, range, spoken } = size(measured);
  return h("div", { class: measured ? "size" : "size lacking" },
    h("dt", null, label),
    h("dd", { "aria-label": `${label}: ${spoken}` }, h("b", null, value), " ", h("span", { class: "range" }, range)));
}

export function drawTally() {
  const live = desk.live;
  const wall = live?.walls?.[desk.wall];
  const sizes = $("#sizes");
  $("#no-sizes").textContent = wall?.width_mm || wall?.height_mm ? "" : live?.problem ?? firstWords();
  sizes.hidden = !wall;
  if (wall) {
    const rows = [entry("Width", wall.width_mm), entry("Height", wall.height_mm)];
    for (const opening of wall.openings ?? []) {
      rows.push(entry(`${opening.id} width`, opening.width_mm), entry(`${opening.id} height`, opening.height_mm), entry(`${opening.id} reveal`, opening.reveal_depth_mm));
      if (opening.thickness_mm) rows.push(entry(`${opening.id} wall thickness`, opening.thickness_mm));
    }
    sizes.replaceChildren(...rows);
  }
  const notes = [];
  for (const suspect of (live?.suspects ?? []).filter(isOpen)) notes.push(doubt(suspect));
  for (const finding of (live?.findings ?? []).filter(isToTheMatter).slice(0, 4)) {
    notes.push(h("li", { class: finding.severity }, h("b", null, SIGNS[finding.severity]), " ", finding.message, " ", h("span", { class: "remedy" }, finding.remedy)));
  }
  if (wall?.limits?.length) {
    const [first, second] = wall.limits;
    const share = (x) => `${x.source} ${Math.round(x.share * 100)} %`;
    notes.push(h("li", { class: "limit" }, h("b", null, "Limits the width: "), [first, second].filter(Boolean).map(share).join(", ")));
  }
  if (wall?.advice?.length) {
    const [best] = wall.advice;
    notes.push(h("li", { class: "help" }, h("b", null, "Would help most: "), `${helpWords(best)}: ± ${Math.ceil(2 * best.sd_before_mm)} → ± ${Math.ceil(2 * best.sd_after_mm)} mm`,
      best.action.startsWith("tape ") && h("button", { type: "button", onclick: () => emit("readings", best.key) }, "Type the reading")));
  }
  $("#notes").replaceChildren(...notes);
}

export const isOpen = (suspect) => (suspect.wall ?? desk.wall) === desk.wall && !desk.kept.has(`${suspect.photo}|${suspect.identity}`);

// What the questions will still come to need not be complained of: until the photo is done, only what is wrong with
// what is there.
function isToTheMatter(finding) {
  if (finding.where.wall && finding.where.wall !== desk.wall) return false;
  return desk.question?.kind === "done" || !(finding.severity === "note" || ASKED_FOR.includes(finding.code));
}

const ASKED_FOR = ["M001", "M002", "M003", "M004", "M005", "M006", "M007", "R021", "S010"];

function firstWords() {
  if (!desk.wall) return "Sizes appear here once four corners of a wall are marked.";
  const marked = new Set((desk.survey.photos ?? []).flatMap((p) => (p.marks ?? []).filter((m) => m.wall === desk.wall && !m.opening && !m.feature).map((m) => m.point)));
  const left = 4 - marked.size;
  return left > 0 ? `Start bottom left: ${plural(left, "corner")} to go for a first size.` : "Measuring …";
}

function doubt(suspect) {
  return h("li", { class: "warn" }, h("b", null, "▲ doubtful "),
    `${corner(suspect.point.point)}, ${thing(suspect.point)}, in ${suspect.photo}: ${suspect.words}. `,
    h("button", { type: "button", onclick: () => emit("suspect", { suspect, action: "go" }) }, "Go there"),
    h("button", { type: "button", onclick: () => emit("suspect", { suspect, action: "mine" }) }, "Mine is right"),
    h("button", { type: "button", onclick: () => emit("suspect", { suspect, action: "remove" }) }, "Remove"));
}
