/* Serves the pages of the stations and the benches from the device while the server is gone. What comes from the server goes first;
 * scans and questions are never answered from here. The server writes VERSION before this text: it changes with whatever the pages
 * are made of, and then the pages that were kept are fetched anew, with all their FILES, before the old is thrown away. */

/* global VERSION, FILES */
const NAME = "shop-";
const PATIENCE_MS = 3000;
const AGAIN_MS = [500, 1000, 2000];
const AWAY_MS = 10_000; // when a page could not be had, what it is made of is not waited for piece by piece
const AWAY = new Set([502, 503, 504]);
const PAGE = /^\/(?:station|pack)(?:\/|$)/;

let awayUntil = 0;

self.addEventListener("install", (event) => event.waitUntil(bringOver().then(() => self.skipWaiting())));
self.addEventListener("activate", (event) => event.waitUntil(throwAway().then(() => self.clients.claim())));
self.addEventListener("message", (event) => {
  if (event.data.keep) event.waitUntil(keep(event.data.keep));
});
self.addEventListener("fetch", (event) => {
  const { method, mode, url } = event.request;
  const { origin, pathname } = new URL(url);
  if (method !== "GET" || origin !== location.origin) return;
  if (mode === "navigate" && PAGE.test(pathname)) event.respondWith(page(event, pathname));
  else if (pathname.startsWith("/static/")) event.respondWith(asset(event));
});

// While the server is gone

async function page(event, pathname) {
  const answer = await fromServer(event);
  if (answer && !AWAY.has(answer.status)) return answer;
  awayUntil = Date.now() + AWAY_MS;
  const kept = (await found(pathname)) ?? (await lastOf(pathname));
  return kept ?? answer ?? Response.error();
}

async function asset(event) {
  const kept = await found(new URL(event.request.url).pathname);
  if (kept && Date.now() < awayUntil) return kept;
  const answer = await fromServer(event);
  return answer && !AWAY.has(answer.status) ? answer : (kept ?? answer ?? Response.error());
}

// The answer, or undefined where none came in time; one that comes later is still kept.
function fromServer(event) {
  const asked = fetch(event.request);
  event.waitUntil(asked.then((answer) => store(event.request.url, answer.clone())).catch(() => {}));
  return Promise.race([asked, new Promise((resolve) => setTimeout(resolve, PATIENCE_MS))]).catch(() => undefined);
}

async function found(pathname) {
  const cache = await caches.open(NAME + VERSION);
  return cache.match(pathname, { ignoreVary: true });
}

// A paired tablet that opens /station is led to its own station by the server: now to the one that was kept last.
async function lastOf(pathname) {
  const cache = await caches.open(NAME + VERSION);
  const section = `/${pathname.split("/")[1]}`;
  const paths = (await cache.keys()).map(({ url }) => new URL(url).pathname).filter((path) => path.startsWith(`${section}/`));
  return pathname === section && paths.length ? Response.redirect(paths.at(-1)) : undefined;
}

// What is kept

// Not what leads elsewhere: a sign-in page is no station.
async function store(url, answer) {
  if (!answer.ok || answer.redirected) return;
  const cache = await caches.open(NAME + VERSION);
  await cache.put(new URL(url, location.href).pathname, answer);
}

function keep(urls) {
  return Promise.all(urls.map(keepOne));
}

// A server that is busy for a moment is asked again: a page that lacks one piece does not open.
async function keepOne(url) {
  for (const pause of [...AGAIN_MS, 0]) {
    const answer = await fetch(url, { cache: "no-cache" }).catch(() => null);
    if (answer && answer.status < 500) return store(url, answer);
    if (pause) await new Promise((resolve) => setTimeout(resolve, pause));
  }
}

// A new version may have files that the old one had not.
async function bringOver() {
  const kept = [];
  for (const name of await olderCaches()) kept.push(...(await (await caches.open(name)).keys()));
  const pages = kept.map(({ url }) => new URL(url).pathname).filter((path) => !path.startsWith("/static/"));
  if (pages.length) await keep([...FILES, ...pages]);
}

async function throwAway() {
  for (const name of await olderCaches()) await caches.delete(name);
}

async function olderCaches() {
  return (await caches.keys()).filter((name) => name.startsWith(NAME) && name !== NAME + VERSION);
}
