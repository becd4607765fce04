"use strict";
// Keeps the station's day on the phone: the page as it was last read, its card, and the forms of its work.
importScripts("/queue.js");

const FILES = "tallow-files-1";
const PAGES = "tallow-pages-1";
const PARTS = ["/pages.css", "/app.js", "/queue.js", "/manifest.webmanifest", "/icon.svg"];
const PATIENCE = 6000;
const HOUR = 60 * 60 * 1000;

const isDay = (url) => /^\/station\/[^/]+(\/card)?$/.test(url.pathname) || url.pathname.startsWith("/work/");

addEventListener("install", (event) => {
  event.waitUntil(caches.open(FILES).then((cache) => cache.addAll(PARTS)).then(() => skipWaiting()));
});

addEventListener("activate", (event) => {
  const old = async () => {
    const names = (await caches.keys()).filter((name) => ![FILES, PAGES].includes(name));
    await Promise.all(names.map((name) => caches.delete(name)));
    await clients.claim();
  };
  event.waitUntil(old());
});

// Moves on whenever somebody signs in or out: what was asked for before is nobody else's to read.
let turn = 0;
const LEAVES = ["/sign-out", "/sign-in", "/sign-in/demo", "/welcome"];

const keep = async (request, answer, asked) => {
  if (asked === turn && answer.ok && !answer.redirected && answer.type === "basic") {
    await (await caches.open(PAGES)).put(request.url.split("#")[0], answer);
  }
};

const page = async (request) => {
  const asked = turn;
  try {
    const answer = await fetch(request, { signal: AbortSignal.timeout(PATIENCE) });
    await keep(request, answer.clone(), asked);
    return answer;
  } catch (error) {
    const known = await (await caches.open(PAGES)).match(request.url.split("#")[0]);
    if (known) return known;
    throw error;
  }
};

// The newest while there is signal; a page and its script must not be of two ages.
const part = async (request) => {
  const cache = await caches.open(FILES);
  try {
    const answer = await fetch(request, { signal: AbortSignal.timeout(PATIENCE) });
    if (answer.ok) await cache.put(request, answer.clone());
    return answer;
  } catch (error) {
    const known = await cache.match(request);
    if (known) return known;
    throw error;
  }
};

addEventListener("fetch", (event) => {
  const { request } = event;
  const url = new URL(request.url);
  if (url.origin !== location.origin) return;
  if (request.method === "POST" && LEAVES.includes(url.pathname)) {
    // Whoever comes next on this phone reads nothing of it. What waits to be sent stays, under its maker's name.
    turn += 1;
    event.waitUntil(caches.delete(PAGES));
    return;
  }
  if (request.method !== "GET") return;
  if (request.mode === "navigate" && isDay(url) && !url.search) event.respondWith(page(request));
  else if (PARTS.includes(url.pathname)) event.respondWith(part(request));
});

const keepAhead = async (urls) => {
  const asked = turn;
  const cache = await caches.open(PAGES);
  for (const url of urls) {
    const known = await cache.match(url);
    const made = known ? Date.parse(known.headers.get("date")) : 0;
    if (!isDay(new URL(url)) || Date.now() - made < HOUR) continue;
    try {
      await keep({ url }, await fetch(url), asked);
    } catch {
      return;
    }
  }
};

addEventListener("message", (event) => {
  if (Array.isArray(event.data?.keep)) event.waitUntil(keepAhead(event.data.keep));
});

addEventListener("sync", (event) => {
  if (event.tag !== "tallow-send") return;
  const send = async () => {
    const done = await kept.send();
    for (const client of await clients.matchAll()) client.postMessage(done);
    // Thrown, the browser tries again by itself.
    if (["away", "fault"].includes(done.state)) throw new Error("not taken in yet");
  };
  event.waitUntil(send());
});
