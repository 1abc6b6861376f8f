// The great-circle map: the own station in the middle, every direction and distance from it true.

import { el, svg } from "./dom.js";
import { EARTH_KM, dayLine, locatorCentre, projection, subsolar } from "./geo.js";
import { sign } from "./views.js";
import { URGENCIES } from "./words.js";

const R = 500;
const HALF_WAY_KM = Math.PI * EARTH_KM;
/** How far the map reaches, and where its rings stand. */
const RANGES = {
  far: { km: HALF_WAY_KM, rings: [5000, 10000, 15000] },
  near: { km: 5000, rings: [1000, 2000, 3000, 4000] },
};
const LABEL_WIDTH = 125;
const LABEL_HEIGHT = 24;
const SHAPES = ["disc", "diamond", "ring", "triangle", "square", "cross"];
const WEAKEST_DB = -24; // what the weakest decodes of the timed modes show (common practice)
const STRONGEST_DB = 15;
const KNOWN = {
  "calls you": "square",
  "hears me": "disc",
  "hears you": "disc",
  heard: "triangle",
  needed: "diamond",
  wanted: "diamond",
  worked: "ring",
};

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

/** A map of all rows that say where a station lies from here: who is heard. */
export function heardMap(views) {
  const found = new Map();
  for (const { data = {}, urgency = 0, cells, sentence } of views.flatMap((view) => view.rows ?? [])) {
    if (!Number.isFinite(data.azimuth_deg) || !Number.isFinite(data.distance_km) || found.has(data.call)) continue;
    const strength = Number.isFinite(data.snr_db) ? (data.snr_db - WEAKEST_DB) / (STRONGEST_DB - WEAKEST_DB) : 0.3;
    found.set(data.call, {
      label: data.call ?? cells[0],
      azimuth_deg: data.azimuth_deg,
      distance_km: data.distance_km,
      strength: Math.min(1, Math.max(0, strength)),
      standing: data.to_me ? "calls you" : urgency > 1 ? "wanted" : "heard",
      urgency,
      sentence,
    });
  }
  return found.size ? { name: "heard", title: "Who I hear", dots: [...found.values()] } : null;
}

/** The centre of the map: what the view says, else the own locator's middle, else nowhere. */
export function centreOf(view, own) {
  if (Number.isFinite(view?.centre_latitude)) return [view.centre_latitude, view.centre_longitude];
  return locatorCentre(own?.locator);
}

const background = { key: "", node: null };

/** Everything that stands still: coasts, rings, bearings. Drawn again only when the centre moves. */
function still(centre, range) {
  const key = `${centre} ${range.km} ${coasts !== null}`;
  if (background.key === key) return background.node.cloneNode(true);
  const project = projection(centre[0], centre[1], radiusOf(range));
  const longest = radiusOf(range) / 4;
  let coast = "";
  for (const line of coasts ?? []) {
    let before = null;
    for (const [latitude, longitude] of line) {
      const [x, y] = project(latitude, longitude);
      // a longer step crosses the antipode and is no coast
      const near = before && Math.hypot(x - before[0], y - before[1]) < longest;
      coast += `${near ? "L" : "M"}${x.toFixed(1)} ${y.toFixed(1)}`;
      before = [x, y];
    }
  }
  const rings = range.rings.flatMap((km) => {
    const radius = (km / range.km) * R;
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
  background.node = svg("g", {}, svg("path", { d: coast, class: "coast", "clip-path": "url(#disc)" }), ...rings, ...spokes);
  return background.node.cloneNode(true);
}

/** The radius at which the antipode lies. */
function radiusOf(range) {
  return (HALF_WAY_KM / range.km) * R;
}

function night(centre, nowMs, range) {
  const whole = radiusOf(range);
  const { line, day } = dayLine(centre[0], centre[1], subsolar(nowMs));
  const border = line.map(([azimuth, arc], at) => {
    const reach = (arc / Math.PI) * whole;
    return `${at ? "L" : "M"}${(reach * Math.sin(azimuth)).toFixed(1)} ${(-reach * Math.cos(azimuth)).toFixed(1)}`;
  });
  // at day the night lies outside the border, so the whole disc is added and the inside falls out again
  const disc = day ? `M${-whole} 0A${whole} ${whole} 0 1 1 ${whole} 0A${whole} ${whole} 0 1 1 ${-whole} 0Z` : "";
  return svg("path", { d: `${border.join("")}Z${disc}`, class: "night", "fill-rule": "evenodd", "clip-path": "url(#disc)" });
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

/** The drawing for a map view (or none), for the moment `nowMs`; `near` shows the surroundings only. */
export function drawing(view, own, nowMs, near) {
  const centre = centreOf(view, own);
  if (!centre) return el("p", { class: "hint" }, "The map needs the own locator.");
  const range = near ? RANGES.near : RANGES.far;
  const dots = view?.dots ?? [];
  return svg(
    "svg",
    { viewBox: `${-R - 50} ${-R - 50} ${2 * R + 100} ${2 * R + 100}`, role: "img", "aria-label": summary(view, dots) },
    svg("clipPath", { id: "disc" }, svg("circle", { r: R })),
    svg("circle", { r: R, class: "world" }),
    night(centre, nowMs, range),
    still(centre, range),
    svg("circle", { r: 5, class: "own" }),
    ...marks(dots, centre, range),
  );
}

function marks(dots, centre, range) {
  const project = projection(centre[0], centre[1], radiusOf(range));
  const shapes = shapesOf(dots);
  const placed = dots.map((dot) => [dot, ...(Number.isFinite(dot.latitude) ? project(dot.latitude, dot.longitude) : polar(dot, range))]);
  const seen = placed.filter(([, x, y]) => Math.hypot(x, y) <= R);
  const named = labelled(seen);
  // the strong ones first, so that a weak dot is never hidden under one
  return seen
    .sort(([a], [b]) => b.strength - a.strength)
    .map(([dot, x, y]) => {
      const kind = shapes.get(dot.standing);
      const size = 5 + 9 * dot.strength;
      return svg(
        "g",
        { transform: `translate(${x.toFixed(1)} ${y.toFixed(1)})`, class: `dot ${kind} ${URGENCIES[dot.urgency ?? 0]}` },
        svg("title", {}, `${dot.label}: ${dot.standing}${dot.sentence ? `, ${dot.sentence}` : ""}`),
        shape(kind, size, {}),
        named.has(dot) ? svg("text", { x: size + 4, y: 5, class: "label" }, dot.label) : null,
      );
    });
}

/** The dots that get their name beside them: the urgent ones, as far as the names do not cover each other. */
function labelled(placed) {
  const names = new Map();
  const byUrgency = [...placed].sort(([a], [b]) => (b.urgency ?? 0) - (a.urgency ?? 0));
  for (const [dot, x, y] of byUrgency) {
    const free = [...names.values()].every(([i, j]) => Math.abs(x - i) > LABEL_WIDTH || Math.abs(y - j) > LABEL_HEIGHT);
    if ((dot.urgency ?? 0) > 1 && free) names.set(dot, [x, y]);
  }
  return names;
}

function polar({ azimuth_deg: azimuth, distance_km: distance }, range) {
  const [reach, bearing] = [(distance / range.km) * R, (azimuth * Math.PI) / 180];
  return [reach * Math.sin(bearing), -reach * Math.cos(bearing)];
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
