// What lies on the desk: the survey and where the person is in it. Parts of the page listen and redraw.

export const desk = {
  survey: { schema_version: 1 },
  photos: [],
  live: null,
  found: {},
  foundAll: false,
  photo: null,
  wall: null,
  asked: null,
  question: null,
  selected: null,
  problem: null,
  busy: 0, // questions to the server that change marks when answered
  raw: new Map(),
  refined: new Map(),
  looked: new Set(), // close-ups that have been in sight
  leftOut: new Set(), // rings and proposals that the person left out
  hidden: null, // a corner being made from its edges
  byCorners: new Set(), // references whose corners are pressed one by one
  kept: new Set(), // doubtful marks that the person says are right
};

const listeners = new Map();

export function on(kinds, run) {
  for (const kind of kinds.split(" ")) {
    if (!listeners.has(kind)) listeners.set(kind, []);
    listeners.get(kind).push(run);
  }
}

export function emit(kind, detail) {
  for (const run of listeners.get(kind) ?? []) run(detail);
}

export function say(words) {
  const live = document.getElementById("spoken");
  live.textContent = "";
  requestAnimationFrame(() => { live.textContent = words; });
}

export const photoInfo = (file = desk.photo) => desk.photos.find((p) => p.file === file) ?? null;
export const photoEntry = (file = desk.photo) => (desk.survey.photos ?? []).find((p) => p.file === file) ?? { file };
export const marksIn = (file = desk.photo) => photoEntry(file).marks ?? [];
export const notSeenIn = (file = desk.photo) => photoEntry(file).not_seen ?? [];
export const wallEntry = (id = desk.wall) => (desk.survey.walls ?? []).find((w) => w.id === id) ?? null;
