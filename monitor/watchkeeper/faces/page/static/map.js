// The great-circle map: the own station in the middle, every direction and distance from it true.

import { el, svg } from "./dom.js";
import { EARTH_KM, dayLine, locatorCentre, projection, subsolar } from "./geo.js";
import { sign } from "./views.js";
import { URGENCIES } from "./words.js";

const R = 500;
const RINGS_KM = [5000, 10000, 15000];
const HALF_WAY_KM = Math.PI * EARTH_KM;
/** Longer steps than this of a projected coast cross the antipode and are no coast. */
const LONGEST_STEP = R / 4;
const SHAPES = ["disc", "diamond", "ring", "triangle", "square", "cross"];
const KNOWN = { "hears me": "disc", needed: "diamond", wanted: "diamond", worked: "ring", heard: "triangle" };

let coasts = null;

/** Read the coastlines once. The map works without them. */
export async function loadLand() {
  const answer = await fetch("land.json");
  const { lines } = await answer.json();
  coasts = lines.map((flat) => {
    const points = [];
    let [longitude, latitude] = [0, 0];
    for (let at = 0; at < flat.length; at += 2) {
      longitude += flat[at];
      latitude += flat[at + 1];
      points.push([latitude / 10, longitude / 10]);
    }
    return points;
  });
}

/** The centre of the map: what the view says, else the own locator's middle, else nowhere. */
export function centreOf(view, own) {
  if (view) return [view.centre_latitude, view.centre_longitude];
  return locatorCentre(own?.locator);
}

const background = { key: "", node: null };

/** Everything that stands still: coasts, rings, bearings. Drawn again only when the centre moves. */
function still(centre) {
  const key = `${centre} ${coasts !== null}`;
  if (background.key === key) return background.node.cloneNode(true);
  const project = projection(centre[0], centre[1], R);
  let coast = "";
  for (const line of coasts ?? []) {
    let before = null;
    for (const [latitude, longitude] of line) {
      const [x, y] = project(latitude, longitude);
      const near = before && Math.hypot(x - before[0], y - before[1]) < LONGEST_STEP;
      coast += `${near ? "L" : "M"}${x.toFixed(1)} ${y.toFixed(1)}`;
      before = [x, y];
    }
  }
  const rings = RINGS_KM.flatMap((km) => {
    const radius = (km / HALF_WAY_KM) * R;
    return [
      svg("circle", { r: radius.toFixed(1), class: "range" }),
      svg("text", { x: 4, y: (-radius - 3).toFixed(1), class: "km" }, `${km.toLocaleString("en")} km`),
    ];
  });
  const spokes = Array.from({ length: 12 }, (_, at) => {
    const [sin, cos] = [Math.sin((at * Math.PI) / 6), Math.cos((at * Math.PI) / 6)];
    const name = { 0: "N", 3: "E", 6: "S", 9: "W" }[at] ?? `${at * 30}°`;
    return svg(
      "g",
      {},
      svg("line", { x1: 20 * sin, y1: -20 * cos, x2: R * sin, y2: -R * cos, class: "spoke" }),
      svg("text", { x: (R + 26) * sin, y: -(R + 26) * cos, class: "bearing" }, name),
    );
  });
  background.key = key;
  background.node = svg("g", {}, svg("path", { d: coast, class: "coast" }), ...rings, ...spokes);
  return background.node.cloneNode(true);
}

function night(centre, nowMs) {
  const { line, day } = dayLine(centre[0], centre[1], subsolar(nowMs));
  const border = line.map(([azimuth, arc], at) => {
    const reach = (arc / Math.PI) * R;
    return `${at ? "L" : "M"}${(reach * Math.sin(azimuth)).toFixed(1)} ${(-reach * Math.cos(azimuth)).toFixed(1)}`;
  });
  // at day the night lies outside the border, so the whole disc is added and the inside falls out again
  const disc = day ? `M${-R} 0A${R} ${R} 0 1 1 ${R} 0A${R} ${R} 0 1 1 ${-R} 0Z` : "";
  return svg("path", { d: `${border.join("")}Z${disc}`, class: "night", "fill-rule": "evenodd" });
}

/** Which shape stands for which word, in the order in which the words come. */
export function shapesOf(dots) {
  const shapes = new Map();
  const free = SHAPES.filter((shape) => !Object.values(KNOWN).includes(shape));
  for (const { standing } of dots) {
    if (!shapes.has(standing)) shapes.set(standing, KNOWN[standing] ?? free.shift() ?? "cross");
  }
  return shapes;
}

function shape(name, size, attributes) {
  const s = size;
  if (name === "disc" || name === "ring") return svg("circle", { r: s, ...attributes });
  if (name === "diamond") return svg("path", { d: `M0 ${-1.3 * s}L${1.3 * s} 0L0 ${1.3 * s}L${-1.3 * s} 0Z`, ...attributes });
  if (name === "triangle") return svg("path", { d: `M0 ${-1.2 * s}L${1.1 * s} ${0.9 * s}L${-1.1 * s} ${0.9 * s}Z`, ...attributes });
  if (name === "square") return svg("rect", { x: -s, y: -s, width: 2 * s, height: 2 * s, ...attributes });
  return svg("path", { d: `M${-s} ${-s}L${s} ${s}M${-s} ${s}L${s} ${-s}`, ...attributes });
}

/** The drawing for a map view (or none), for the moment `nowMs`. */
export function drawing(view, own, nowMs) {
  const centre = centreOf(view, own);
  if (!centre) return el("p", { class: "hint" }, "The map needs the own locator.");
  const project = projection(centre[0], centre[1], R);
  const dots = view?.dots ?? [];
  const shapes = shapesOf(dots);
  // the strong ones first, so that a weak dot is never hidden under one
  const marks = [...dots]
    .sort((a, b) => b.strength - a.strength)
    .map((dot) => {
      const [x, y] = project(dot.latitude, dot.longitude);
      const kind = shapes.get(dot.standing);
      const size = 5 + 9 * dot.strength;
      const named = (dot.urgency ?? 0) > 1;
      return svg(
        "g",
        { transform: `translate(${x.toFixed(1)} ${y.toFixed(1)})`, class: `dot ${kind} ${URGENCIES[dot.urgency ?? 0]}` },
        svg("title", {}, `${dot.label}: ${dot.standing}${dot.sentence ? `, ${dot.sentence}` : ""}`),
        shape(kind, size, {}),
        named ? svg("text", { x: size + 4, y: 5, class: "label" }, dot.label) : null,
      );
    });
  return svg(
    "svg",
    { viewBox: `${-R - 50} ${-R - 50} ${2 * R + 100} ${2 * R + 100}`, role: "img", "aria-label": summary(view, dots) },
    svg("circle", { r: R, class: "world" }),
    night(centre, nowMs),
    still(centre),
    svg("circle", { r: 5, class: "own" }),
    ...marks,
  );
}

function summary(view, dots) {
  const counts = new Map();
  for (const { standing } of dots) counts.set(standing, (counts.get(standing) ?? 0) + 1);
  const told = [...counts].map(([standing, number]) => `${number} ${standing}`).join(", ");
  return `${view?.title ?? "Map"}: ${told || "no stations yet"}. The list below says the same.`;
}

/** What the shapes stand for. */
export function legend(dots) {
  return [...shapesOf(dots)].map(([standing, name]) =>
    el("li", {}, svg("svg", { viewBox: "-14 -14 28 28", "aria-hidden": "true", class: `dot ${name}` }, shape(name, 8, {})), standing),
  );
}

/** The dots as a table, for whoever cannot use a map. */
export function list(dots) {
  if (!dots.length) return el("p", { class: "hint" }, "no stations yet");
  const rows = dots.map((dot) =>
    el("tr", {}, el("th", { scope: "row" }, sign(dot.urgency), dot.label), el("td", {}, dot.standing), el("td", {}, dot.sentence ?? "")),
  );
  const head = ["Call", "Standing", "What is known"].map((title) => el("th", { scope: "col" }, title));
  return el("table", {}, el("thead", {}, el("tr", {}, ...head)), el("tbody", {}, ...rows));
}
