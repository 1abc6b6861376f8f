// Hails: the open ones with their buttons, and the announcement of a new one by voice, sound and vibration.

import { byId, el, refill } from "./dom.js";
import { act } from "./live.js";
import { sign } from "./views.js";
import { utc } from "./words.js";

const SHOWN = 3;
const OPEN_MS = 30 * 60000; // older ones are history

const done = new Map(); // hail key → event time of the hail that was marked as done here
let told = null; // the hails that were announced; none is before the first snapshot
let latest = { hails: [], nowMs: 0, lengthMs: 15000 };

/** Show the hails of a snapshot whose event clock stands at `nowMs`, in periods of `lengthMs`; announce new ones. */
export function showHails(hails, nowMs, lengthMs) {
  latest = { hails, nowMs, lengthMs };
  announce(hails);
  draw();
}

/** The reasons of the newest hail that belongs to a row, by its hail key or its call sign. */
export function reasonsFor(key, call) {
  const own = (hail) => (key ? hail.key === key : hail.call === call);
  return [...latest.hails].reverse().find(own)?.reasons ?? [];
}

/** The line `because …`, or nothing. */
export function because(reasons) {
  return reasons.length ? el("p", { class: "hint" }, `because ${reasons.join(", ")}`) : null;
}

/** Say something to whoever listens to the page. */
export function say(words) {
  byId("announce").replaceChildren(el("p", {}, words));
}

/* The newest period first, in it the most urgent, and of these the newest. */
function open() {
  const newest = new Map(latest.hails.map((hail) => [hail.key, hail]));
  const since = latest.nowMs - OPEN_MS;
  const period = (hail) => Math.floor(hail.at_ms / latest.lengthMs);
  return [...newest.values()]
    .filter((hail) => hail.at_ms > Math.max(since, done.get(hail.key) ?? -1))
    .sort((a, b) => period(b) - period(a) || (b.urgency ?? 0) - (a.urgency ?? 0) || b.at_ms - a.at_ms);
}

function draw() {
  const hails = open();
  byId("hails").hidden = !hails.length;
  refill(byId("hails").querySelector("ul"), hails, () => [
    ...hails.slice(0, SHOWN).map(entry),
    hails.length > SHOWN ? el("li", { class: "hint" }, `and ${hails.length - SHOWN} more`) : null,
  ]);
}

function entry(hail) {
  return el(
    "li",
    {},
    el("p", {}, sign(hail.urgency), el("time", {}, utc(hail.at_ms)), ` ${hail.sentence}`),
    because((hail.reasons ?? []).filter((reason) => !hail.sentence.includes(reason))),
    button("done", hail, { act: "done", key: hail.key }),
    button("let it hail again", hail, { act: "release", key: hail.key }),
  );
}

function button(words, hail, asked) {
  const label = `${words}: ${hail.sentence}`;
  return el("button", { type: "button", "aria-label": label, onclick: () => send(asked, hail, words) }, words);
}

async function send(asked, hail, words) {
  try {
    await act(asked);
    if (asked.act === "done") done.set(hail.key, hail.at_ms);
    say(`${words}: ${hail.sentence}`);
    draw();
  } catch (error) {
    say(`not done: ${error.message}`);
    byId("unpaired").hidden = false;
  }
}

function announce(hails) {
  const name = (hail) => `${hail.key} ${hail.at_ms}`;
  const fresh = told === null ? [] : hails.filter((hail) => !told.has(name(hail)));
  told = new Set(hails.map(name));
  if (!fresh.length) return;
  say(fresh.map((hail) => hail.sentence).join(". "));
  const urgent = fresh.some((hail) => hail.urgency > 2);
  if (byId("buzz").checked) navigator.vibrate?.(urgent ? [300, 100, 300] : 200);
  if (byId("sound").checked) beep(urgent ? 2 : 1);
}

let audio = null;

function beep(times) {
  audio ??= new AudioContext();
  for (let at = 0; at < times; at += 1) {
    const start = audio.currentTime + 0.25 * at;
    const [tone, volume] = [audio.createOscillator(), audio.createGain()];
    tone.frequency.value = 880;
    volume.gain.setValueAtTime(0.2, start);
    volume.gain.exponentialRampToValueAtTime(0.001, start + 0.2);
    tone.connect(volume).connect(audio.destination);
    tone.start(start);
    tone.stop(start + 0.2);
  }
}
