// A list that is right as of a moment. Kept on the tablet, or open when the network goes, it says as of when, and takes
// away the forms that only the server can take. When the server answers again, its newer page takes the place.
import { moved } from "../taps.js";
import { oneAtATime } from "./turns.js";

const AGAIN_MS = 60_000;
const page = document.documentElement;

function apart(is) {
  if (page.hasAttribute("data-no-server") !== is) moved();
  page.toggleAttribute("data-no-server", is);
  document.querySelector("[data-as-of-then]").hidden = !is;
}

// The network may come back while the last question waits in vain for its answer: then it is asked once more at once.
const ask = oneAtATime(async () => {
  try {
    const reply = await fetch(location.href, { cache: "no-store", redirect: "error" });
    const newer = reply.ok ? new DOMParser().parseFromString(await reply.text(), "text/html") : null;
    if (!newer?.querySelector("[data-as-of-then]")) throw new Error(String(reply.status));
    if (page.dataset.kept) {
      for (const part of [".strip", "#content"]) {
        document.querySelector(part).replaceWith(document.adoptNode(newer.querySelector(part)));
      }
      moved();
      delete page.dataset.kept;
    }
    apart(false);
  } catch {
    apart(true);
  }
});

if (document.querySelector("[data-as-of-then]")) {
  if (page.dataset.kept) {
    apart(true);
    ask();
  }
  addEventListener("offline", () => apart(true));
  addEventListener("online", ask);
  setInterval(() => page.hasAttribute("data-no-server") && ask(), AGAIN_MS);
}
