// Answers for the tablet's pages when the network does not. KEPT (release, offline, entries, assets) stands above this
// text, written by the server: a new release is another text, and the browser installs it beside the old one.
//
// Nothing is ever reloaded from here, and no page is taken away before its successor is on the tablet: a page that is
// open, or kept from an earlier release, finds its own styles and scripts until the new release's pages are all here.
const SHELL = `shell-${KEPT.release}`, PAGES = "pages-", NETWORK_MS = 3000;
const TABLET = [/^\/$/, /^\/sheet$/, /^\/motors\/\d+\/(entry|skip|start|trip|last\.json)$/, /^\/dips$/, /^\/lubrication\/chart$/,
  /^\/tablet\/entries$/];
const isOurs = (path) => TABLET.some((pattern) => pattern.test(path));
const LEAVING = ["/sign-out", "/change-hands"];
const isFixed = (path) => path.startsWith("/static/") || path === "/judge/rules.json";

self.addEventListener("install", (event) => event.waitUntil(install()));
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));

async function install() {
  const shell = await caches.open(SHELL);
  // Without the cookie: these pages show nobody's name, whoever is signed in while it is installed.
  await Promise.all([...KEPT.assets, KEPT.offline, KEPT.entries].map(async (path) => {
    const answer = await fetch(path, { credentials: "omit", cache: path.startsWith("/static/") ? "default" : "no-store" });
    if (good(answer)) await shell.put(path, answer);
  }));
  await self.skipWaiting(); // safe: what open pages need stays in the older shell
}
const good = (answer) => answer.status === 200 && answer.type === "basic" && !answer.redirected;

self.addEventListener("fetch", (event) => {
  const url = new URL(event.request.url);
  if (url.origin !== location.origin) return;
  if (event.request.method !== "GET") {
    if (LEAVING.includes(url.pathname)) event.respondWith(leave(event.request));
    return;
  }
  if (isFixed(url.pathname)) event.respondWith(fixed(event.request));
  // Only where a page is opened: a script that asks the server again (may it be started?) must hear the server or nothing.
  // A motor's page is also opened in the place of the last result.
  else if (isOurs(url.pathname) && (event.request.mode === "navigate" || /\/entry$|\.json$/.test(url.pathname))) {
    event.respondWith(page(event));
  } else if (event.request.mode === "navigate") event.respondWith(elsewhere(event.request));
});

// styles, scripts, the rule table: the address names the release, so what is here is right
async function fixed(request) {
  const here = await caches.match(request, { ignoreSearch: false });
  if (here) return here;
  const answer = await fetch(request);
  const url = new URL(request.url);
  if (good(answer) && (url.pathname.startsWith(`/static/${KEPT.release}/`) || url.pathname === "/judge/rules.json")) {
    await (await caches.open(SHELL)).put(request, answer.clone());
  }
  return answer;
}

// a page of the round: the network's where it comes in time, else the one on the tablet
async function page(event) {
  const { request } = event, asked = fetch(request);
  const late = new Promise((done) => setTimeout(done, NETWORK_MS, null));
  try {
    const answer = await Promise.race([asked, late]);
    if (answer) {
      event.waitUntil(remember(request, answer.clone()));
      return answer.status >= 502 ? (await kept(request)) ?? answer : answer; // a proxy whose server is away
    }
  } catch {
    return (await kept(request)) ?? notHere(request);
  }
  const here = await kept(request);
  if (here) {
    event.waitUntil(asked.then((answer) => remember(request, answer)).catch(() => undefined));
    return here;
  }
  return asked.catch(() => notHere(request)); // slow is better than nothing
}
async function elsewhere(request) {
  try {
    return await fetch(request);
  } catch {
    return notHere(request);
  }
}
async function notHere(request) {
  if (request.mode !== "navigate") return Response.error();
  const shell = await caches.match(KEPT.offline);
  return shell ? new Response(shell.body, { status: 503, headers: shell.headers }) : Response.error();
}

// whose pages ------------------------------------------------------------------------------------------------
const pageCaches = async () => (await caches.keys()).filter((name) => name.startsWith(PAGES)).sort();
const keyOf = (request) => (new URL(request.url).pathname === "/" ? "/sheet" : new URL(request.url).pathname);

async function kept(request) {
  const key = keyOf(request);
  for (const name of (await pageCaches()).reverse()) {
    const here = await (await caches.open(name)).match(key);
    if (here) return here;
  }
  return key === KEPT.entries ? caches.match(KEPT.entries) : undefined;
}
// One person's pages at a time: the first page of another one takes away those of the one before.
async function remember(request, answer) {
  const whose = answer.headers.get("Page-Of");
  if (!whose || !good(answer)) return;
  const names = await pageCaches();
  await Promise.all(names.filter((name) => !name.startsWith(`${PAGES}${whose}-`)).map((name) => caches.delete(name)));
  const mine = names.filter((name) => name.startsWith(`${PAGES}${whose}-`));
  if (mine.length && new URL(request.url).search === "") {
    const kept = asPage(await answer.text(), answer.headers.get("Content-Type"), whose, answer);
    await (await caches.open(mine.at(-1))).put(keyOf(request), kept);
  }
}
// Once the server has ended the sign-in, nobody's pages are here: not in a second tab, not without a network.
async function leave(request) {
  const answer = await fetch(request);
  if (answer.ok || answer.type === "opaqueredirect" || answer.redirected) await forget();
  return answer;
}
const forget = async () => Promise.all((await pageCaches()).map((name) => caches.delete(name)));

// the shift's pages, in pieces; the older set goes when the new one is whole -----------------------------------------
self.addEventListener("message", (event) => {
  if (event.data?.do === "prepare") event.waitUntil(prepare(event.data));
  if (event.data?.do === "forget") event.waitUntil(forget().then(() => event.ports[0]?.postMessage("forgotten")));
});

const preparing = new Map();
function prepare(wanted) {
  if (!preparing.has(wanted.stamp)) {
    preparing.set(wanted.stamp, fetchPages(wanted).then(() => "whole", (error) => `part: ${error.message}`)
      .finally(() => preparing.delete(wanted.stamp)));
  }
  return preparing.get(wanted.stamp).then((pages) => tell({ pages }));
}
async function fetchPages({ whose, stamp, at }) {
  const mine = `${PAGES}${whose}-`, name = `${mine}${String(at).padStart(16, "0")}-${stamp}`;
  const before = await pageCaches();
  if (before.some((known) => known.startsWith(mine) && known.endsWith(`-${stamp}-whole`))) return;
  // What a broken try left behind is begun anew.
  await Promise.all(before.filter((known) => known.endsWith(`-${stamp}`)).map((known) => caches.delete(known)));
  const fresh = await caches.open(name);
  for (let from = 0; from !== null;) {
    const answer = await fetch(`/tablet/pages?from=${from}`, { headers: { Accept: "application/json" }, redirect: "error" });
    if (!good(answer)) throw new Error(`pages: ${answer.status}`);
    const piece = await answer.json();
    if (piece.whose !== whose) throw new Error("somebody else signed in");
    for (const [path, text, type] of piece.pages) await fresh.put(path, asPage(text, type, whose, answer));
    from = piece.next;
  }
  // Only a whole set is called so. What is seen of it later, fresher, is kept under that name and found first.
  await caches.open(`${name}-whole`);
  for (const known of await pageCaches()) if (!known.startsWith(name)) await caches.delete(known);
  await dropOldShells();
}
// A page from the tablet says so on its first element, data-kept, with the moment it was made: what it says of "now" is of
// then, and its scripts must not take it for the server's word.
const asPage = (text, type, whose, { headers }) => new Response(
  type.startsWith("text/html") ? text.replace("<html ", `<html data-kept="${new Date().toISOString()}" `) : text,
  { headers: { "Content-Type": type, "Content-Security-Policy": headers.get("Content-Security-Policy"), "Page-Of": whose } });

// The pages of this release are all here: the shells of earlier ones are of use only to pages still open.
async function dropOldShells() {
  const open = await self.clients.matchAll({ type: "window", includeUncontrolled: true });
  const releases = await Promise.all(open.map(releaseOf));
  for (const name of (await caches.keys()).filter((n) => n.startsWith("shell-") && n !== SHELL)) {
    if (!releases.includes(name.slice(6)) && !releases.includes(null)) await caches.delete(name);
  }
}
function releaseOf(client) {
  return new Promise((done) => {
    const line = new MessageChannel();
    line.port1.onmessage = (event) => done(event.data);
    client.postMessage({ ask: "release" }, [line.port2]);
    setTimeout(done, 1000, null);
  });
}
async function tell(news) {
  const open = await self.clients.matchAll({ type: "window", includeUncontrolled: true });
  for (const client of open) client.postMessage(news);
}
