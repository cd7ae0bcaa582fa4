// The pad of figures beside a PIN: a glove hits it where it misses the system's keys. Every touch counts, fast ones too.
for (const pad of document.querySelectorAll(".pad[data-for]")) {
  const box = document.getElementById(pad.dataset.for);
  pad.hidden = false;
  if (box.inputMode === "numeric") box.inputMode = "none"; // else the system's keys would cover the pad
  pad.addEventListener("click", (event) => {
    const key = event.target.closest("button")?.value;
    if (!key) return;
    if (key === "clear") box.value = "";
    else if (key === "back") box.value = box.value.slice(0, -1);
    else box.value += key;
  });
}
