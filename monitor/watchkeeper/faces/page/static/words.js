// The words and signs that this page uses for the same thing everywhere.

export const SIGNS = ["", "·", "!", "!!"];
export const URGENCIES = ["calm", "note", "wanted", "urgent"];
export const PARITIES = ["even", "odd"];

/** `14.074 MHz` */
export function megahertz(hz) {
  const whole = Math.floor(hz / 1e6);
  const rest = String(Math.round(hz % 1e6)).padStart(6, "0").replace(/0+$/, "").padEnd(3, "0");
  return `${whole}.${rest} MHz`;
}

/** `20m`, as the ADIF standard writes it, as one reads it. */
export function bandWords(band) {
  return band.replace(/^([\d.]+)(mm|cm|m)$/, "$1 $2");
}

/** `6 s`, `3 min`, `2 h 05 min` */
export function span(seconds) {
  const whole = Math.max(0, Math.floor(seconds));
  if (whole < 100) return `${whole} s`;
  const minutes = Math.floor(whole / 60);
  if (minutes < 100) return `${minutes} min`;
  return `${Math.floor(minutes / 60)} h ${String(minutes % 60).padStart(2, "0")} min`;
}

/** `−12 dB` */
export function decibel(value) {
  const rounded = Math.round(value);
  return `${rounded < 0 ? "−" : "+"}${Math.abs(rounded)} dB`;
}

/** `18:42:09` in UTC */
export function utc(atMs) {
  return new Date(atMs).toISOString().slice(11, 19);
}

/** `1 contact`, `12 contacts` */
export function count(number, one) {
  return `${number.toLocaleString("en")} ${one}${number === 1 ? "" : "s"}`;
}

/** How forwarding to one destination stands. */
export function outboxWords(name, box) {
  const parts = [];
  if (box.down_since !== null && box.down_since !== undefined) {
    parts.push(box.oldest_s ? `not answering for ${span(box.oldest_s)}` : "not answering");
  }
  if (box.dead) parts.push(`refused ${box.dead} for good`);
  if (box.waiting) parts.push(`${box.waiting} waiting`);
  parts.push(`${box.delivered} forwarded`);
  return `${name} ${parts.join(", ")}${box.why ? ` (${box.why})` : ""}`;
}

export function outboxUrgency(box) {
  return (box.down_since !== null && box.down_since !== undefined) || box.dead ? 2 : 0;
}

/** The call sign that a row is about. */
export function callOf(row) {
  return row.data?.call || row.cells[0] || "";
}
