// Walking order: a move is sent and shown in place, the button keeps the focus. Without this script the page reloads.

const walk = () => document.querySelector("#walk");

function announce(text) {
  let told = document.querySelector("#walk-said");
  if (!told) {
    told = Object.assign(document.createElement("p"), { id: "walk-said", className: "said" });
    told.setAttribute("role", "status");
    walk().before(told);
  }
  told.textContent = text;
}

// The button that was pressed; at the end of the walk it is off, then its neighbour.
function refocus(id) {
  const button = id && document.getElementById(id);
  if (button && !button.disabled) button.focus();
  else if (button) button.parentElement.querySelector("button:not(:disabled), input")?.focus();
}

async function send(form, button) {
  const id = button?.id;
  const answer = await fetch(form.action, { method: "POST", body: new FormData(form, button) });
  const page = new DOMParser().parseFromString(await answer.text(), "text/html");
  const fresh = page.querySelector("#walk");
  if (!fresh) return false;
  walk().replaceWith(document.adoptNode(fresh));
  document.querySelectorAll(".said:not(#walk-said)").forEach((old) => old.remove());
  announce(page.querySelector(".said, #meanwhile h2, #errors h2")?.textContent ?? "");
  refocus(id);
  return true;
}

let busy = false;
document.addEventListener("submit", async (event) => {
  const form = event.target.closest("form.walk");
  if (!form) return;
  event.preventDefault();
  if (busy) return; // the order sent with a second press would be the old one
  busy = true;
  try {
    if (!(await send(form, event.submitter))) location.reload();
  } catch {
    announce("Not sent: the server cannot be reached. Nothing was moved.");
  } finally {
    busy = false;
  }
});
