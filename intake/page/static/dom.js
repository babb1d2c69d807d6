// Making elements, in HTML and SVG, without markup strings.

const SVG = "http://www.w3.org/2000/svg";

function fill(node, attributes, children) {
  for (const [name, value] of Object.entries(attributes ?? {})) {
    if (value === undefined || value === null || value === false) continue;
    if (name.startsWith("on")) node.addEventListener(name.slice(2), value);
    else if (name === "value" || name === "checked") node[name] = value;
    else node.setAttribute(name, value === true ? "" : String(value));
  }
  for (const child of children.flat(3)) {
    if (child !== undefined && child !== null && child !== false) node.append(child);
  }
  return node;
}

export function h(tag, attributes, ...children) {
  return fill(document.createElement(tag), attributes, children);
}

export function s(tag, attributes, ...children) {
  return fill(document.createElementNS(SVG, tag), attributes, children);
}

export function $(selector) {
  return document.querySelector(selector);
}
