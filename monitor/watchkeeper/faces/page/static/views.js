// Draws any view of a plugin: tables, gauges, series, notices. Maps have a module of their own.

import { el, svg } from "./dom.js";
import { SIGNS, URGENCIES } from "./words.js";

/** A sign and a word for screen readers; nothing for what is calm. */
export function sign(urgency = 0) {
  if (!urgency) return null;
  const name = URGENCIES[urgency];
  return el("span", { class: `sign ${name}`, title: name }, SIGNS[urgency], el("span", { class: "unseen" }, ` ${name} `));
}

/** The nodes for all views of one panel; `band` leaves only that band's rows when it is not empty. */
export function panel(views, band) {
  const drawn = views.filter((view) => view.form !== "map").flatMap((view, at) => draw(view, at > 0, band));
  const missing = [...new Set(views.map((view) => view.missing).filter(Boolean))];
  return [...drawn, ...missing.map((hint) => el("p", { class: "hint" }, hint))];
}

function draw(view, titled, band) {
  const heading = titled ? [el("h3", {}, view.title)] : [];
  if (view.form === "table") return [...heading, table(view, band)];
  if (view.form === "gauges") return [...heading, gauges(view)];
  if (view.form === "series") return [el("h3", {}, `${view.title} ${view.unit}`.trim()), ...view.lines.map(series(view))];
  if (view.form === "notice") return [el("p", { class: "notice" }, sign(view.urgency ?? 1), view.text)];
  return [];
}

const SHORT = 16;
const TIGHT = 8;

function table(view, band) {
  const rows = view.rows.filter((row) => !band || (row.data?.band ?? band) === band);
  if (!rows.length) return el("p", { class: "hint" }, view.empty ?? "nothing yet");
  // short words stay on one line, on a phone the shortest alone; long ones may break
  const longest = view.columns.map((_, at) => Math.max(...rows.map((row) => (row.cells[at] ?? "").length)));
  const side = (column) => {
    const length = longest[view.columns.indexOf(column)];
    const whole = length <= TIGHT ? "tight " : length <= SHORT ? "whole " : "";
    return `${column.right ? "right " : ""}${whole}keep${Math.min(9, column.keep ?? 5)}`;
  };
  const head = view.columns.map((column) =>
    el("th", { scope: "col", class: side(column) }, column.unit ? `${column.title} ${column.unit}` : column.title),
  );
  const body = rows.flatMap((row) => {
    const cells = view.columns.map((column, at) => {
      const text = row.cells[at] ?? "";
      return at
        ? el("td", { class: side(column) }, text)
        : el("th", { scope: "row", class: side(column) }, sign(row.urgency) ?? el("span", { class: "sign" }), text);
    });
    // a sentence that names the row itself says again what the cells say
    const told = row.urgency && row.sentence && !row.sentence.includes(row.cells[0]);
    return [
      el("tr", { class: URGENCIES[row.urgency ?? 0] }, ...cells),
      told ? el("tr", { class: "sentence" }, el("td", { colspan: view.columns.length }, row.sentence)) : null,
    ].filter(Boolean);
  });
  return el(
    "div",
    { class: "scroll", tabindex: 0, role: "region", "aria-label": view.title },
    el("table", {}, el("caption", { class: "unseen" }, view.title), el("thead", {}, el("tr", {}, ...head)), el("tbody", {}, ...body)),
  );
}

function gauges(view) {
  const sorted = [...view.readings].sort((a, b) => (b.urgency ?? 0) - (a.urgency ?? 0));
  return el(
    "dl",
    { class: "gauges" },
    ...sorted.map((reading) =>
      el(
        "div",
        {},
        el("dt", {}, sign(reading.urgency), reading.label),
        el("dd", {}, reading.text, level(reading), reading.urgency && reading.sentence ? el("p", {}, reading.sentence) : null),
      ),
    ),
  );
}

function level(reading) {
  const { value, low, high } = reading;
  if (![value, low, high].every(Number.isFinite) || high <= low) return null;
  return el("meter", { min: low, max: high, value, "aria-label": `${reading.label} ${reading.text}` });
}

const WIDTH = 240;
const HEIGHT = 36;

function series(view) {
  return (line) => {
    const known = line.points.filter(([, value]) => Number.isFinite(value));
    const last = known.length ? `${Number(known[known.length - 1][1].toPrecision(4))} ${view.unit}`.trim() : "–";
    return el("figure", { class: "series" }, el("figcaption", {}, line.label), curve(line, known, last), el("span", {}, last));
  };
}

function curve(line, known, last) {
  const times = line.points.map(([at]) => at);
  const [from, to] = [Math.min(...times), Math.max(...times)];
  const values = known.map(([, value]) => value);
  const [low, high] = [Math.min(...values), Math.max(...values)];
  const x = (at) => (to > from ? ((at - from) / (to - from)) * (WIDTH - 4) + 2 : WIDTH / 2);
  const y = (value) => (high > low ? HEIGHT - 3 - ((value - low) / (high - low)) * (HEIGHT - 6) : HEIGHT / 2);
  let pen = false; // lifted where nothing was measured
  let drawn = "";
  for (const [at, value] of line.points) {
    if (Number.isFinite(value)) drawn += `${pen ? "L" : "M"}${x(at).toFixed(1)} ${y(value).toFixed(1)}`;
    pen = Number.isFinite(value);
  }
  return svg(
    "svg",
    { viewBox: `0 0 ${WIDTH} ${HEIGHT}`, role: "img", "aria-label": `${line.label}: now ${last}`, preserveAspectRatio: "none" },
    svg("path", { d: drawn, class: "curve" }),
  );
}
