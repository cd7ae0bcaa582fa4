// Figures as app/rules/wording.py and findings.py write and compare them, to the digit.
const MOST_PLACES = 6; // limits are compared after rounding to six decimals

// A decimal text, ties to even as Python has them; toFixed takes ties away from zero.
export function fixed(value, places) {
  const away = value.toFixed(places);
  const exact = value.toFixed(100);
  const cut = exact.indexOf(".") + 1 + places;
  if (!/^50*$/.test(exact.slice(cut))) return away;
  const down = exact.slice(0, places ? cut : cut - 1);
  return Number(down.at(-1)) % 2 ? away : down;
}

const six = (value) => Number(fixed(value, MOST_PLACES));
export const over = (value, limit) => six(value) > six(limit);
export const under = (value, limit) => six(value) < six(limit);

// At most so many decimals, no trailing zeros, no minus zero: 1,250.5
export function digits(value, places) {
  const [whole, part = ""] = fixed(value, places).split(".");
  const rest = part.replace(/0+$/, "");
  const text = whole.replace(/\B(?=(\d{3})+$)/g, ",") + (rest && `.${rest}`);
  return text === "-0" ? "0" : text;
}

export const plain = (unit, places = 1) => ({ unit, places, times: 1, plus: 0, by: 1 });
const shown = (value, scale) => (value * scale.times + scale.plus) / scale.by;

export const figure = (value, scale) => `${digits(shown(value, scale), scale.places)} ${scale.unit}`;

// Value and limit with as many decimals as it takes to tell them apart.
export function pair(value, limit, scale) {
  const a = shown(value, scale), b = shown(limit, scale);
  let places = scale.places;
  while (places < MOST_PLACES && digits(a, places) === digits(b, places)) places += 1;
  return [`${digits(a, places)} ${scale.unit}`, `${digits(b, places)} ${scale.unit}`];
}
