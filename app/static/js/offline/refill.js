// "Put it right": the parked entry stands in its form again as it was typed, with its time and what the server said of it.
import { fill } from "../drafts.js";
import { clock, el } from "./dom.js";
import * as queue from "./queue.js";

export async function refill(form, about, id) {
  const entry = await queue.get(id).catch(() => null);
  if (!entry || entry.person !== about.by || entry.motor.id !== about.motor.id || entry.state === queue.RECEIVED) return;
  const at = clock(entry.body.taken_at ?? entry.body.at);
  fill(form, entry.fields.filter(([name]) => name !== "id"));
  const time = form.querySelector("#seen_at");
  if (time && !time.value) fill(form, [[time.name, at]]);
  form.before(el("div", { class: "summary", role: "alert", "data-told-here": true },
    el("h2", {}, `The server did not take this entry of ${at}`), el("p", {}, entry.problem?.detail ?? ""),
    el("p", {}, "It stands here as you typed it. Put right what is named and save: it then takes the place of the other.")));
}
