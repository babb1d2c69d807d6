// Keeps every change: makes it here at once, sends it in order, holds it in the browser until the server has it on
// disk, undoes and redoes without limit, and takes in what others changed.

import { apply, get, same } from "./edits.js";
import { desk, emit } from "./desk.js";

const undone = { past: [], future: [] };
let server = null; // the survey as the server last said
let heard = 0; // its serial: news and answers come by two ways and may overtake each other
let outbox = [];
let sending = false;
let tab = null;
let folder = "";

const outboxKey = (id) => `perpend:${folder}:outbox:${id}`;
const historyKey = () => `perpend:${folder}:history`;

export const status = { kind: "saved", at: null, waiting: 0, conflicts: null, words: "" };

export async function open() {
  const state = await ask("/api/state");
  folder = state.folder_id;
  await takeTab();
  server = state.survey;
  heard = state.serial;
  desk.problem = state.problem;
  adopt();
  const kept = JSON.parse(sessionStorage.getItem(historyKey()) ?? "null");
  if (kept) Object.assign(undone, kept);
  rebuild();
  listen();
  flush();
  return state;
}

// A tab holds a lock on its name, so that a new tab can tell kept changes of a dead page from a living one's.
async function takeTab() {
  let id = sessionStorage.getItem("perpend:tab");
  if (!id || !(await hold(id))) {
    id = crypto.randomUUID();
    await hold(id);
  }
  sessionStorage.setItem("perpend:tab", id);
  tab = id;
}

function hold(id) {
  return new Promise((resolve) => {
    navigator.locks.request(`perpend:${id}`, { ifAvailable: true }, (lock) => {
      resolve(lock !== null);
      return lock && new Promise(() => {});
    });
  });
}

function adopt() {
  outbox = JSON.parse(localStorage.getItem(outboxKey(tab)) ?? "[]");
  const prefix = outboxKey("");
  const others = Object.keys(localStorage).filter((k) => k.startsWith(prefix) && k !== outboxKey(tab));
  for (const key of others) {
    const id = key.slice(prefix.length);
    hold(id).then((dead) => {
      if (!dead) return;
      outbox.push(...JSON.parse(localStorage.getItem(key) ?? "[]"));
      localStorage.removeItem(key);
      rebuild();
      flush();
    });
  }
}

function keepOutbox() {
  if (outbox.length) localStorage.setItem(outboxKey(tab), JSON.stringify(outbox));
  else localStorage.removeItem(outboxKey(tab));
}

function rebuild() {
  desk.survey = outbox.reduce((doc, change) => apply(doc, change.edits), server);
  emit("survey");
}

// Make a change. `edits` are {path, value}; `merge` joins it to the last step of undo.
export function change(edits, { merge = false, label = "" } = {}) {
  let document = desk.survey;
  const made = [];
  for (const { path, value } of edits) {
    const was = get(document, path);
    if (same(was, value)) continue;
    const whole = { path, value, was };
    document = apply(document, [whole]);
    made.push(whole);
  }
  if (!made.length) return;
  if (merge && undone.past.length) undone.past.at(-1).edits.push(...made);
  else undone.past.push({ edits: made, label, photo: desk.photo, wall: desk.wall });
  undone.future = [];
  put(made);
}

export function undo() { step(undone.past, undone.future, true); }
export function redo() { step(undone.future, undone.past, false); }
export const canUndo = () => undone.past.length > 0;
export const canRedo = () => undone.future.length > 0;

function step(from, to, backwards) {
  const last = from.pop();
  if (!last) return;
  to.push(last);
  const edits = backwards
    ? last.edits.toReversed().map(({ path, value, was }) => ({ path, value: was, was: value }))
    : last.edits;
  emit("stepped", last);
  put(edits);
}

function put(edits) {
  outbox.push({ edits });
  desk.survey = apply(desk.survey, edits);
  keepOutbox();
  sessionStorage.setItem(historyKey(), JSON.stringify(undone));
  emit("survey");
  flush();
}

async function flush() {
  if (sending || status.conflicts || desk.problem) return show();
  sending = true;
  show();
  while (outbox.length) {
    const sent = outbox[0];
    let response;
    try {
      response = await post("/api/change", { edits: sent.edits, force: sent.force === true });
    } catch {
      status.kind = "gone";
      show();
      setTimeout(() => { sending = false; flush(); }, 1000);
      return;
    }
    const answer = await response.json().catch(() => ({}));
    if (answer.serial) heard = Math.max(heard, answer.serial);
    if (answer.conflicts) {
      server = answer.survey;
      status.conflicts = answer.conflicts;
      break;
    } else if (response.ok) {
      server = apply(server, sent.edits);
      outbox.shift();
      keepOutbox();
      status.kind = "saved";
      status.at = new Date();
    } else if (response.status === 403) {
      status.kind = "locked";
      setTimeout(() => { sending = false; flush(); }, 2000);
      return show();
    } else if (await brokenMeanwhile()) {
      break; // kept until the file can be read again
    } else {
      // Refused in words: the change would not be a survey. It is taken back here.
      status.words = answer.problem ?? "The server refused this change.";
      outbox.shift();
      keepOutbox();
      rebuild();
      emit("refused", status.words);
    }
  }
  sending = false;
  show();
}

// Whether a change was refused because survey.json cannot be read just now.
async function brokenMeanwhile() {
  const problem = await ask("/api/state").then((state) => state.problem, () => null);
  if (problem) {
    desk.problem = problem;
    emit("problem");
  }
  return Boolean(problem);
}

export function keepMine() {
  outbox[0].force = true;
  status.conflicts = null;
  keepOutbox();
  flush();
}

export function takeTheirs() {
  outbox.shift();
  status.conflicts = null;
  keepOutbox();
  rebuild();
  flush();
}

function listen() {
  const news = new EventSource("/api/news");
  news.addEventListener("survey", (event) => {
    const { survey, serial, problem } = JSON.parse(event.data);
    if (serial < heard) return; // written before what an answer has already told
    heard = serial;
    const changed = problem !== desk.problem;
    desk.problem = problem;
    if (outbox.length || !same(server, survey)) {
      server = survey; // our own changes still on their way are laid over it
      rebuild();
    }
    if (changed) { emit("problem"); flush(); }
  });
  for (const kind of ["live", "found"]) {
    news.addEventListener(kind, (event) => emit(`server-${kind}`, JSON.parse(event.data)));
  }
  news.onopen = () => { if (status.kind === "gone") refetch(); };
  news.onerror = () => {
    if (news.readyState === EventSource.CLOSED) setTimeout(listen, 1000);
    status.kind = "gone";
    show();
  };
}

async function refetch() {
  try {
    const state = await ask("/api/state");
    server = state.survey;
    heard = state.serial;
    desk.problem = state.problem;
    status.kind = "saved";
    rebuild();
    emit("state", state);
    flush();
  } catch { /* the stream tries again */ }
}

export async function restore() {
  const response = await post("/api/restore", {});
  const answer = await response.json();
  server = answer.survey;
  heard = answer.serial;
  desk.problem = null;
  rebuild();
  emit("problem");
  flush();
}

export async function ask(address) {
  const response = await fetch(address, { credentials: "same-origin" });
  if (!response.ok) throw new Error(await response.text());
  return response.json();
}

export function post(address, content) {
  return fetch(address, {
    method: "POST",
    credentials: "same-origin",
    headers: { "content-type": "application/json" },
    body: JSON.stringify(content),
  });
}

function show() {
  status.waiting = outbox.length;
  emit("status");
}

addEventListener("beforeunload", (event) => {
  keepOutbox();
  if (outbox.length && status.kind === "gone") event.preventDefault();
});
