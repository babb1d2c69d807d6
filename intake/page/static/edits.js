// Edits to the survey's JSON, addressed by identity: the same rules as the server's document.py.

const LISTS = { walls: "id", rooms: "id", references: "id", openings: "id", features: "id", photos: "file" };
const MARK_LISTS = new Set(["marks", "not_seen"]);
const MARK_KEYS = ["wall", "opening", "face", "feature", "reference", "point"];

export function identity(mark) {
  return MARK_KEYS.filter((k) => mark[k] !== undefined && mark[k] !== null)
    .map((k) => `${k}=${mark[k]}`)
    .join(";");
}

export function target(mark) {
  return Object.fromEntries(MARK_KEYS.filter((k) => mark[k] != null).map((k) => [k, mark[k]]));
}

const isList = (name) => name in LISTS || MARK_LISTS.has(name);
const memberId = (name, item) => (MARK_LISTS.has(name) ? identity(item) : item[LISTS[name]]);
const memberIndex = (items, name, id) => items.findIndex((item) => memberId(name, item) === id);

export function get(document, path) {
  let node = document;
  for (let i = 0; i < path.length; i += 1) {
    if (node === null || typeof node !== "object") return null;
    const name = path[i];
    node = node[name] ?? null;
    if (i + 1 < path.length && isList(name)) {
      i += 1;
      node = (Array.isArray(node) ? node : []).find((item) => memberId(name, item) === path[i]) ?? null;
    }
  }
  return node;
}

export function apply(document, edits) {
  const edited = structuredClone(document);
  for (const edit of edits) set(edited, edit.path, structuredClone(edit.value));
  return edited;
}

function set(document, path, value) {
  let node = document;
  for (let i = 0; i < path.length; i += 1) {
    const name = path[i];
    if (i + 1 < path.length && isList(name)) {
      const items = (node[name] ??= []);
      i += 1;
      const index = memberIndex(items, name, path[i]);
      if (i === path.length - 1) {
        if (value === null) {
          if (index >= 0) items.splice(index, 1);
        } else if (index < 0) items.push(value);
        else items[index] = value;
        return;
      }
      if (index < 0) items.push({ [LISTS[name]]: path[i] });
      node = index < 0 ? items.at(-1) : items[index];
    } else if (i === path.length - 1) {
      if (value === null) delete node[name];
      else node[name] = value;
      return;
    } else node = node[name] ??= {};
  }
}

export function edit(document, path, value) {
  return { path, value, was: get(document, path) };
}

export const same = (a, b) => canonical(a) === canonical(b);

function canonical(value) {
  if (Array.isArray(value)) return `[${value.map(canonical).join()}]`;
  if (value && typeof value === "object") {
    return `{${Object.keys(value).sort().map((k) => `${k}:${canonical(value[k])}`).join()}}`;
  }
  return JSON.stringify(value);
}
