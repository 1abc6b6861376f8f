// The page: keeps the newest snapshot and status, draws them, counts the period down, and hands acts to the watch.

import { byId, el, refill } from "./dom.js";
import { because, reasonsFor, say, showHails } from "./hails.js";
import { Unpaired, follow, pair } from "./live.js";
import { drawing, heardMap, legend, list, loadLand } from "./map.js";
import { panel, sign } from "./views.js";
import { PARITIES, bandWords, callOf, count, decibel, megahertz, outboxUrgency, outboxWords, span, utc } from "./words.js";

const PANELS = ["lookout", "on_the_air", "openings", "reach", "vitals", "log"];
const NEAR_MS = 60000; // an event clock this near to the device's belongs to the present
const SILENT_PERIODS = 2;
const SILENT_GRACE_S = 5;
const LATE_START_S = 1.5; // starting so late still works (common practice)
const NIGHT_MS = 60000;

const state = {
  snapshot: null,
  status: null,
  seenAt: 0, // performance.now() when the event clock moved last
  live: true,
  lostSince: null,
  band: "",
  map: "", // the name of the chosen map view
  near: false,
  land: false,
};

/* Time */

function now() {
  const event = eventMs();
  if (event === null || state.live) return Date.now();
  return event + (performance.now() - state.seenAt);
}

function eventMs() {
  return state.snapshot?.event_clock ? Date.parse(state.snapshot.event_clock) : null;
}

function took(snapshot) {
  const before = eventMs();
  state.snapshot = snapshot;
  const event = eventMs();
  if (event !== before) {
    state.seenAt = performance.now();
    state.live = event === null || Math.abs(event - Date.now()) <= NEAR_MS;
  }
}

function periodAt(atMs) {
  const length = (state.snapshot?.period?.length_s ?? 15) * 1000;
  return { length, parity: Math.floor(atMs / length) % 2, left: (length - (atMs % length)) / 1000 };
}

/* What moves with the clock */

function tick() {
  const atMs = now();
  const { snapshot } = state;
  byId("clock").textContent = `${utc(atMs)} UTC`;
  const period = snapshot?.period;
  byId("period").hidden = !period;
  if (period) {
    const { length, parity, left } = periodAt(atMs);
    byId("parity").textContent = PARITIES[parity];
    byId("bar").value = 1 - (left * 1000) / length;
    byId("left").textContent = `${Math.max(1, Math.round(left))} s`;
    const own = snapshot.own?.send_parity;
    byId("whose").textContent = own === undefined || own === null ? "" : own === parity ? "yours" : "theirs";
  }
  drawTrouble(atMs);
  const start = document.querySelector("#advice .start");
  if (start) start.textContent = startWords(Number(start.dataset.parity), atMs);
}

function startWords(parity, atMs) {
  const { length, parity: running, left } = periodAt(atMs);
  let wait = left;
  if (running === parity) {
    if (length / 1000 - left <= LATE_START_S) return "start now";
    wait += length / 1000;
  }
  return `start in ${Math.max(1, Math.round(wait))} s`;
}

function drawTrouble(atMs) {
  const told = [];
  if (state.lostSince !== null) {
    told.push([3, `no answer from the watch for ${span((performance.now() - state.lostSince) / 1000)}, this picture is old`]);
  }
  const event = eventMs();
  const quiet = event === null ? 0 : (atMs - event) / 1000;
  if (quiet > (SILENT_PERIODS * periodAt(atMs).length) / 1000 + SILENT_GRACE_S) {
    told.push([3, `nothing from any source for ${span(quiet)}`]);
  }
  const intake = state.status?.intake ?? {};
  const refused = Object.values(intake.rejected ?? {}).reduce((sum, number) => sum + number, 0);
  if (refused) told.push([1, `${count(refused, "datagram")} not valid`]);
  if (intake.lost) told.push([1, `${count(intake.lost, "event")} lost on the way`]);
  if (intake.kernel_drops) told.push([1, `${count(intake.kernel_drops, "datagram")} dropped by the system`]);
  if (intake.shed) told.push([1, `${count(intake.shed, "hearing")} dropped by overload`]);
  for (const plugin of state.status?.plugins ?? []) {
    if (["rested", "blocked", "failed to load"].includes(plugin.state)) {
      const from = plugin.distribution ? ` (${plugin.distribution})` : "";
      told.push([2, `plugin ${plugin.name}${from} ${plugin.state}${plugin.reason ? `: ${plugin.reason}` : ""}`]);
    }
  }
  for (const notice of state.status?.notices ?? []) told.push([1, notice]);
  told.sort((a, b) => b[0] - a[0]);
  refill(byId("trouble"), told, () => told.map(([urgency, words]) => el("span", {}, sign(urgency), words)));
}

/* What moves with the watch */

function draw() {
  const { snapshot, status } = state;
  if (!snapshot) return;
  const { own = {}, period } = snapshot;
  const dial = own.dial_hz ?? period?.dial_hz;
  const place = [period?.band && bandWords(period.band), own.mode ?? period?.mode, dial ? megahertz(dial) : null].filter(Boolean).join(" ");
  const who = [own.call, own.locator, own.power_w === null || own.power_w === undefined ? null : `${own.power_w} W`];
  byId("place").textContent = [place || "waiting for a source", ...who.filter(Boolean)].join("  ·  ");
  const byPanel = Object.fromEntries(PANELS.map((name) => [name, viewsOf(name)]));
  for (const name of PANELS) {
    refill(byId(name).querySelector(":scope > div"), [byPanel[name], state.band], ([views, band]) =>
      views.length ? panel(views, band) : el("p", { class: "hint" }, "no plugin shows anything here"),
    );
  }
  showHails(snapshot.hails ?? [], eventMs() ?? 0, periodAt(0).length);
  drawAdvice(byPanel);
  drawCallers(byPanel);
  drawMap();
  drawBands();
  refill(byId("forwarding"), [snapshot.contacts, status?.outbox], () => [
    el("li", {}, `${count(snapshot.contacts ?? 0, "contact")} in the log`),
    ...Object.entries(status?.outbox ?? {}).map(([name, box]) => el("li", {}, sign(outboxUrgency(box)), outboxWords(name, box))),
  ]);
  tick();
}

function viewsOf(name) {
  const rank = (view) => view.rank ?? 50;
  const views = (state.snapshot.views ?? []).filter((view) => view.panel === name);
  return views.sort((a, b) => rank(a) - rank(b) || (a.name < b.name ? -1 : 1));
}

function drawAdvice(byPanel) {
  const table = byPanel.lookout.find((view) => view.form === "table");
  const row = table?.rows[0];
  const why = row ? adviceWords(table, row) : "";
  const reasons = row ? reasonsFor(row.data?.hail, callOf(row)).filter((reason) => !why.includes(reason)) : [];
  byId("advice-name").textContent = row?.data?.to_me ? "Answer now" : "Call now";
  refill(byId("advice").querySelector("div"), [row, why, reasons], () => {
    if (!row) return el("p", { class: "hint" }, "nobody yet: no lookout matches");
    const data = row.data ?? {};
    const facts = [];
    if (data.parity === 0 || data.parity === 1) {
      facts.push(el("li", {}, `call in ${PARITIES[1 - data.parity]}`));
      facts.push(el("li", { class: "start", "data-parity": 1 - data.parity }));
    }
    if (Number.isFinite(data.offset_hz)) facts.push(el("li", {}, `${Math.round(data.offset_hz).toLocaleString("en")} Hz`));
    if (Number.isFinite(data.snr_db)) facts.push(el("li", {}, decibel(data.snr_db)));
    if (Number.isFinite(data.chance)) facts.push(el("li", {}, `chance ${Math.round(100 * data.chance)} %`));
    const where = [data.band && bandWords(data.band), data.mode].filter(Boolean).join(" ");
    if (where) facts.push(el("li", {}, where));
    return [
      el("p", { class: "call" }, sign(row.urgency), el("strong", {}, callOf(row))),
      why ? el("p", { class: "why" }, why) : null,
      el("ul", { class: "facts" }, ...facts),
      because(reasons),
    ];
  });
}

/** Why to call and what the station does: from the columns of these names, else the row's sentence. */
function adviceWords(table, row) {
  const cells = Object.fromEntries(table.columns.map((column, at) => [column.key, row.cells[at]]));
  const words = ["why", "doing"].map((key) => cells[key]).filter(Boolean);
  return [...new Set(words)].join(", ") || row.sentence || "";
}

function drawCallers(byPanel) {
  const found = new Map();
  for (const view of [...byPanel.on_the_air, ...byPanel.lookout]) {
    for (const row of view.form === "table" ? view.rows : []) {
      if (row.data?.to_me && !found.has(callOf(row))) found.set(callOf(row), row.data);
    }
  }
  const callers = [...found];
  byId("callers").hidden = !callers.length;
  refill(byId("callers").querySelector("div"), callers, () =>
    el(
      "ul",
      {},
      ...callers.map(([call, data]) =>
        el(
          "li",
          {},
          el("strong", {}, call),
          Number.isFinite(data.snr_db) ? ` ${decibel(data.snr_db)}` : null,
          data.lacks ? el("span", { class: "hint" }, ` still lacks ${data.lacks}`) : null,
        ),
      ),
    ),
  );
}

/* Map and choices */

function drawMap() {
  const all = state.snapshot.views ?? [];
  const views = [...all.filter((view) => view.form === "map"), heardMap(all)].filter(Boolean);
  const chosen = views.find((view) => view.name === state.map) ?? views[0];
  const dots = chosen?.dots ?? [];
  refill(byId("map-choice"), [views.map((view) => view.title), chosen?.name], () =>
    views.length < 2
      ? []
      : views.map((view) =>
          el(
            "button",
            {
              type: "button",
              "aria-pressed": String(view === chosen),
              onclick: () => {
                state.map = view.name;
                drawMap();
              },
            },
            view.title,
          ),
        ),
  );
  const minute = Math.floor(now() / NIGHT_MS); // the day/night line moves a quarter of a degree in it
  refill(byId("map-drawing"), [chosen, state.snapshot.own?.locator, minute, state.land, state.near], () =>
    drawing(chosen, state.snapshot.own, minute * NIGHT_MS, state.near),
  );
  refill(byId("map-legend"), dots.map((dot) => dot.standing), () => legend(dots));
  refill(byId("map-list").querySelector("div"), dots, () => list(dots));
}

function drawBands() {
  const bands = [];
  for (const view of state.snapshot.views ?? []) {
    for (const row of view.rows ?? []) {
      if (typeof row.data?.band === "string" && !bands.includes(row.data.band)) bands.push(row.data.band);
    }
  }
  refill(byId("band"), bands, () => ["", ...bands].map((band) => el("option", { value: band }, bandWords(band) || "all")));
  byId("band").value = bands.includes(state.band) ? state.band : "";
}

/* Beginning */

function remembered(id, property, react) {
  const field = byId(id);
  const kept = localStorage.getItem(id);
  if (kept !== null) field[property] = property === "checked" ? kept === "true" : kept;
  const changed = () => {
    localStorage.setItem(id, String(field[property]));
    react(field[property]);
  };
  field.addEventListener("change", changed);
  react(field[property]);
}

function begin() {
  remembered("theme", "value", (theme) => {
    document.documentElement.dataset.theme = theme;
  });
  remembered("sound", "checked", () => {});
  remembered("buzz", "checked", () => {});
  byId("band").addEventListener("change", (event) => {
    state.band = event.target.value;
    draw();
  });
  byId("map-range").addEventListener("click", (event) => {
    state.near = !state.near;
    event.target.setAttribute("aria-pressed", String(state.near));
    drawMap();
  });
  const again = follow(
    (snapshot, status) => {
      state.lostSince = null;
      byId("pair").hidden = true;
      took(snapshot);
      state.status = status;
      draw();
    },
    (error) => {
      if (error instanceof Unpaired) byId("pair").hidden = false;
      else state.lostSince ??= performance.now();
      tick();
    },
  );
  const enter = async (code) => {
    try {
      await pair(code);
      byId("pair").hidden = true;
      byId("unpaired").hidden = true;
      say("paired");
      again();
    } catch (error) {
      byId("pair").hidden = false;
      byId("pair-answer").textContent = error.message;
    }
  };
  byId("pair").addEventListener("submit", (event) => {
    event.preventDefault();
    enter(byId("code").value);
  });
  byId("unpaired").addEventListener("click", () => {
    byId("pair").hidden = false;
    byId("code").focus();
  });
  const handed = /^#pair=([A-Z0-9-]{4,12})$/i.exec(location.hash);
  if (handed) {
    history.replaceState(null, "", location.pathname); // the code stands in no history
    enter(handed[1]);
  }
  loadLand().then(() => {
    state.land = true;
    draw();
  }, () => {});
  setInterval(tick, 1000);
  navigator.serviceWorker?.register("worker.js").catch(() => {});
}

begin();
