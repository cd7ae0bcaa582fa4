// As app/rules/numbers.py reads: one comma or one point, nothing guessed.
export function understood(text) {
  const typed = text.trim().replace("\u2212", "-").replaceAll("\u00a0", "");
  if (!typed) return { blank: true };
  if (typed.length > 12) return { says: "too long for a number" };
  if ((typed.match(/[.,]/g) || []).length > 1) return { says: "more than one comma or point" };
  if (!/^[-+]?(\d+([.,]\d*)?|[.,]\d+)$/.test(typed)) return { says: "not a number" };
  if (/^[-+]?[1-9]\d{0,2}[.,]\d{3}$/.test(typed)) return { says: "can be read two ways" };
  return { value: Number(typed.replace(",", ".")) };
}

// What is said beside a figure; where several share a row, each with its name.
export function saying(box, words) {
  const name = box.labels[0]?.textContent;
  return name ? `${name}: ${words}` : words;
}
