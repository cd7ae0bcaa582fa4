// Is the figure meant? As app/rules/doubtful.py asks, case by case the same (tests/doubts.csv).
const inFahrenheit = (c) => c * 1.8 + 32;
const inCelsius = (f) => (f - 32) / 1.8;
const PEAK_IN_S = 25.4 / Math.SQRT2; // 1 in/s peak in mm/s RMS
const OTHER = {
  "°C": ["°F", inCelsius], "°F": ["°C", inFahrenheit],
  "mm/s": ["in/s peak", (v) => v * PEAK_IN_S], "in/s peak": ["mm/s", (v) => v / PEAK_IN_S],
};
const FAR_K = 15;
const NEAR_K = 10;
const round = (value, places = 6) => Number(value.toFixed(places));
const kelvins = (k, unit) => (unit === "°F" ? k * 1.8 : k);
const between = (value, [low, high], usual) => low * usual <= value && value <= high * usual;

function far(value, unit, usual, fromPlate) {
  if (unit === "°C" || unit === "°F") return round(Math.abs(value - usual)) > kelvins(FAR_K, unit);
  return !between(value, fromPlate ? [0.2, 2] : [0.5, 2], usual);
}

function near(value, unit, usual, fromPlate) {
  if (unit === "°C" || unit === "°F") return round(Math.abs(value - usual)) <= kelvins(NEAR_K, unit);
  return between(value, fromPlate ? [0.25, 1.25] : [0.7, 1.4], usual);
}

// The question a typed figure raises: { meant, unit }, or null.
export function asks(value, unit, usual, fromPlate = false) {
  if (usual === null || usual === undefined || !far(value, unit, usual, fromPlate)) return null;
  if (unit in OTHER && !fromPlate) {
    const [other, convert] = OTHER[unit];
    if (near(convert(value), unit, usual, false)) return { meant: round(convert(value)), unit: other };
  }
  const meant = [value / 10, value * 10].find((figure) => figure && near(figure, unit, usual, fromPlate));
  return meant === undefined ? null : { meant: round(meant), unit: null };
}
