// Counts down to the server's instant by the server's clock: the tablet's own clock may be wrong, and it may have slept.
const answer = document.querySelector("[data-not-before]");
if (answer) {
  const until = Date.parse(answer.dataset.notBefore);
  const ahead = Date.parse(answer.dataset.now) - Date.now();
  const words = answer.querySelector("[data-countdown]");
  const tick = () => {
    const left = Math.ceil((until - (Date.now() + ahead)) / 1000);
    if (left <= 0) {
      // The answer is the server's to give: other crews may have started it meanwhile.
      location.reload();
      return;
    }
    words.textContent = `${Math.floor(left / 60)} min ${String(left % 60).padStart(2, "0")} s left`;
    setTimeout(tick, 1000 - ((Date.now() + ahead) % 1000));
  };
  tick();
  // Back from sleep, or back to this tab: ask again.
  let hidden = 0;
  document.addEventListener("visibilitychange", () => {
    if (document.hidden) hidden = Date.now();
    else if (hidden && Date.now() - hidden > 15000) location.reload();
  });
}
