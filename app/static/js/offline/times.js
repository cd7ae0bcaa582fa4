// A time on the wall of the unit, whatever zone the tablet is set to.
const MINUTE = 60000, DAY = 86400000;

export const isTime = (text) => /^([01]?\d|2[0-3])[:.][0-5]?\d$/.test(text.trim());
export const isTimeToTheSecond = (text) => isTime(text) || /^([01]?\d|2[0-3])[:.][0-5]\d[:.][0-5]\d$/.test(text.trim());

// How far the zone's wall is ahead of UTC at an instant, in ms.
function ahead(at, zone) {
  const parts = Object.fromEntries(new Intl.DateTimeFormat("en-GB", {
    timeZone: zone, hourCycle: "h23", year: "numeric", month: "numeric", day: "numeric", hour: "numeric",
    minute: "numeric", second: "numeric" }).formatToParts(new Date(at)).map((p) => [p.type, Number(p.value)]));
  return Date.UTC(parts.year, parts.month - 1, parts.day, parts.hour, parts.minute, parts.second) - Math.floor(at / 1000) * 1000;
}

// The instant of a wall time given as if it were UTC: the first of two; where the clocks skip it, the same time after.
function onTheWall(asUtc, zone) {
  const known = [ahead(asUtc - DAY, zone), ahead(asUtc + DAY, zone)].map((offset) => asUtc - offset)
    .filter((at) => ahead(at, zone) === asUtc - at);
  return known.length ? Math.min(...known) : asUtc - ahead(asUtc - DAY, zone);
}

// The newest such time that has passed, in ms.
export function instant(text, zone, now) {
  const [hour, minute, second = 0] = text.trim().replaceAll(".", ":").split(":").map(Number);
  const wall = now + ahead(now, zone), midnight = wall - (((wall % DAY) + DAY) % DAY);
  const today = onTheWall(midnight + hour * 60 * MINUTE + minute * MINUTE + second * 1000, zone);
  return today <= now ? today : onTheWall(midnight - DAY + hour * 60 * MINUTE + minute * MINUTE + second * 1000, zone);
}
