// What the server found is shown in the place of the form: its own page of the entry. Where that page does not come,
// the tablet's own result stands for it.
import { pageOf, put } from "./in_place.js";
import { lookAhead } from "./onward.js";
import { show } from "./result.js";

const PAGE_WITHIN_MS = 1500;

export async function showReceived(entry) {
  const address = `/entries/${entry.id}`, page = await pageOf(address, PAGE_WITHIN_MS);
  if (!page) return show(entry);
  history.replaceState(null, "", address);
  put(page);
  lookAhead();
  if (document.querySelector("form.undo")) (await import("../undo.js")).offer();
}
