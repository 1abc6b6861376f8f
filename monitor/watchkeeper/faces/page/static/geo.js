// The sphere as the map needs it: azimuthal equidistant projection, locators, the Sun's place. Angles in radians inside.

const RAD = Math.PI / 180;
export const EARTH_KM = 6371.0088; // mean radius, IUGG

/** The middle of a Maidenhead locator of 4 or 6 characters as [latitude, longitude] in degrees, or null. */
export function locatorCentre(locator) {
  const found = /^([A-R])([A-R])(\d)(\d)(?:([A-X])([A-X]))?/i.exec(locator ?? "");
  if (!found) return null;
  const [, a, b, c, d, e, f] = found;
  const at = (letter) => letter.toUpperCase().charCodeAt(0) - 65;
  let longitude = at(a) * 20 - 180 + Number(c) * 2;
  let latitude = at(b) * 10 - 90 + Number(d);
  if (e) {
    longitude += at(e) / 12 + 1 / 24;
    latitude += at(f) / 24 + 1 / 48;
  } else {
    longitude += 1;
    latitude += 0.5;
  }
  return [latitude, longitude];
}

/** Distance (radians of arc) and azimuth (radians from north, eastwards) from one place to another, both in degrees. */
export function path(fromLatitude, fromLongitude, toLatitude, toLongitude) {
  const a = fromLatitude * RAD;
  const b = toLatitude * RAD;
  const turn = (toLongitude - fromLongitude) * RAD;
  const east = Math.sin(turn) * Math.cos(b);
  const north = Math.cos(a) * Math.sin(b) - Math.sin(a) * Math.cos(b) * Math.cos(turn);
  const up = Math.sin(a) * Math.sin(b) + Math.cos(a) * Math.cos(b) * Math.cos(turn);
  return { arc: Math.atan2(Math.hypot(east, north), up), azimuth: Math.atan2(east, north) };
}

/** A projection round a centre: degrees to [x, y] with the antipode on the circle of `radius`, north up. */
export function projection(latitude, longitude, radius) {
  return (toLatitude, toLongitude) => {
    const { arc, azimuth } = path(latitude, longitude, toLatitude, toLongitude);
    const reach = (arc / Math.PI) * radius;
    return [reach * Math.sin(azimuth), -reach * Math.cos(azimuth)];
  };
}

/**
 * Where the Sun stands overhead at a moment (ms since 1970), as [latitude, longitude] in degrees.
 * Low-precision formulas of the Astronomical Almanac: 0.01 degrees between 1950 and 2050.
 */
export function subsolar(atMs) {
  const days = atMs / 86400000 - 10957.5; // since J2000.0
  const mean = (280.46 + 0.9856474 * days) * RAD;
  const anomaly = (357.528 + 0.9856003 * days) * RAD;
  const ecliptic = mean + (1.915 * Math.sin(anomaly) + 0.02 * Math.sin(2 * anomaly)) * RAD;
  const tilt = (23.439 - 0.0000004 * days) * RAD;
  const declination = Math.asin(Math.sin(tilt) * Math.sin(ecliptic));
  const ascension = Math.atan2(Math.cos(tilt) * Math.sin(ecliptic), Math.cos(ecliptic));
  const sidereal = (280.46062 + 360.98564737 * days) * RAD;
  const longitude = (((ascension - sidereal) / RAD + 540) % 360 + 360) % 360 - 180;
  return [declination / RAD, longitude];
}

/**
 * The line between day and night seen from a centre: for each azimuth the arc at which the Sun stands on the horizon,
 * as [azimuth, arc] pairs, and whether it is day at the centre. Along any azimuth there is exactly one such place.
 */
export function dayLine(latitude, longitude, sun, steps = 180) {
  const { arc, azimuth } = path(latitude, longitude, sun[0], sun[1]);
  const line = [];
  for (let step = 0; step < steps; step += 1) {
    const bearing = (2 * Math.PI * step) / steps;
    const ahead = Math.sin(arc) * Math.cos(bearing - azimuth);
    const here = Math.cos(arc);
    // cos(zenith) along the azimuth is here·cos(r) + ahead·sin(r), which is zero once between 0 and half a turn
    let r = Math.atan2(-here, ahead);
    if (r < 0) r += Math.PI;
    line.push([bearing, r]);
  }
  return { line, day: Math.cos(arc) > 0 };
}
