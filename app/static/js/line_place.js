// Before anything is drawn: the tablet's line gets the height that it had on the page before, so that nothing moves under
// a finger when it is filled in. No module: a module would come too late.
try {
  const height = Number(sessionStorage.getItem("line"));
  if (height) document.documentElement.style.setProperty("--line-place", `${height}px`);
} catch {
  // a browser that keeps nothing: one line's place is left
}
