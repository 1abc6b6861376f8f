// Elements are made here and nowhere else. Text goes in as text: nothing that came over the air is ever read as HTML.

const SVG = "http://www.w3.org/2000/svg";

/** A node with attributes (null and false ones left out) and children (nodes or text). */
export function el(name, attributes = {}, ...children) {
  return filled(document.createElement(name), attributes, children);
}

/** The same for SVG. */
export function svg(name, attributes = {}, ...children) {
  return filled(document.createElementNS(SVG, name), attributes, children);
}

function filled(node, attributes, children) {
  for (const [key, value] of Object.entries(attributes)) {
    if (key.startsWith("on")) node.addEventListener(key.slice(2), value);
    else if (value === true) node.setAttribute(key, "");
    else if (value !== null && value !== undefined && value !== false) node.setAttribute(key, String(value));
  }
  node.append(...children.filter((child) => child !== null && child !== undefined));
  return node;
}

const shown = new WeakMap();

/** Put what `make` makes into `place`, but only if `data` differs from last time: focus and selection survive. */
export function refill(place, data, make) {
  const text = JSON.stringify(data) ?? "";
  if (shown.get(place) === text) return;
  shown.set(place, text);
  place.replaceChildren(...[make(data)].flat().filter(Boolean));
}

export const byId = (id) => document.getElementById(id);
