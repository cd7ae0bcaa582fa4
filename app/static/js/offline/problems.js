// What is wrong with a form, at each field and together on top, as the server's own page shows it.
import { el } from "./dom.js";

export function tellProblems(form, problems) {
  clear(form);
  if (!problems.length) return;
  const lines = problems.map(({ field, says }) => {
    const input = document.getElementById(field);
    if (input) mark(input, field, says);
    return el("li", {}, el("a", { href: `#${field}` }, input ? `${labelOf(input, field)}: ${says}` : says));
  });
  const n = problems.length;
  const summary = el("div", { class: "summary", role: "alert", tabindex: "-1", id: "errors", "data-told-here": true },
    el("h2", {}, `${n} thing${n === 1 ? "" : "s"} to put right. Nothing is stored yet.`), el("ul", {}, lines));
  form.before(summary);
  document.title = `Error: ${document.title.replace(/^Error: /, "")}`;
  summary.focus();
}

function clear(form) {
  for (const old of document.querySelectorAll("[data-told-here], .summary, .field-error:not(output)")) old.remove();
  for (const old of form.querySelectorAll("[aria-invalid]")) {
    for (const name of ["aria-invalid", "aria-describedby"]) old.removeAttribute(name);
    old.classList.remove("bad");
  }
}

function mark(input, field, says) {
  const typed = input.type === "text" || input.tagName === "TEXTAREA", group = input.closest("[role=group]");
  const at = typed ? input : group;
  at?.setAttribute("aria-describedby", `${field}-error`);
  if (typed) {
    input.setAttribute("aria-invalid", "true");
    input.classList.add("bad");
  }
  (input.closest(".opts, .ends, .row") ?? input).before(
    el("span", { class: "field-error", id: `${field}-error`, "data-told-here": true }, says));
  for (let box = input.closest("details"); box; box = box.parentElement.closest("details")) box.open = true;
}

const labelOf = (input, field) => input.getAttribute("aria-label")
  ?? firstWords(document.getElementById(`${field}-lab`)) ?? firstWords(input.labels?.[0]) ?? field;
const firstWords = (label) => label?.firstChild?.textContent.trim() || undefined;
