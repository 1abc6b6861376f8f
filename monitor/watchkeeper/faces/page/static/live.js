// Talks to the watch: snapshot and status whenever something changed, again after every loss.

const RETRY_MS = 1000;
const ANSWER_MS = 10000;

export class Unpaired extends Error {}

async function ask(path, options = {}) {
  const answer = await fetch(path, { cache: "no-store", signal: AbortSignal.timeout(ANSWER_MS), ...options });
  const body = await answer.json();
  if (answer.status === 401) throw new Unpaired(body.error);
  if (!answer.ok) throw new Error(body.error ?? `HTTP ${answer.status}`);
  return body;
}

function post(path, body) {
  return ask(path, { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(body) });
}

export const act = (asked) => post("api/act", asked);
export const pair = (code) => post("api/pair", { code });

/**
 * Follow the watch. `show(snapshot, status)` after each change, `lost(error)` when it cannot be reached; the error is
 * Unpaired when this browser has to be paired first. Returns a function that tries again at once.
 */
export function follow(show, lost) {
  let stream = null;
  let timer = null;
  let busy = false;
  let again = false;

  const fetchAll = async () => {
    if (busy) {
      again = true;
      return;
    }
    busy = true;
    try {
      do {
        again = false;
        show(...(await Promise.all([ask("api/snapshot"), ask("api/status")])));
      } while (again);
    } catch (error) {
      fail(error);
    } finally {
      busy = false;
    }
  };

  const fail = (error) => {
    lost(error);
    stream?.close();
    stream = null;
    clearTimeout(timer);
    if (!(error instanceof Unpaired)) timer = setTimeout(open, RETRY_MS);
  };

  const open = () => {
    clearTimeout(timer);
    stream?.close();
    stream = new EventSource("api/events");
    for (const name of ["changed", "hail", "resync"]) stream.addEventListener(name, fetchAll);
    // the browser does not say why a stream ended; the next snapshot's answer does
    stream.onerror = () => {
      stream?.close();
      stream = null;
      clearTimeout(timer);
      timer = setTimeout(open, RETRY_MS);
    };
    fetchAll();
  };

  // a phone that slept may hold a dead stream: look again when the page comes back to the eye
  document.addEventListener("visibilitychange", () => {
    if (!document.hidden) open();
  });
  open();
  return open;
}
