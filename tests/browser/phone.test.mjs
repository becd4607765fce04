// What a phone keeps, before a service that answers as it is told to: answers lost on the way, faults, people who change.
import assert from "node:assert/strict";
import { readFile } from "node:fs/promises";
import http from "node:http";
import path from "node:path";
import { after, before, beforeEach, test } from "node:test";
import { fileURLToPath } from "node:url";

import { chromium } from "playwright-core";

import { PHONE, until as asked } from "./room.mjs";

const templates = path.join(path.dirname(fileURLToPath(import.meta.url)), "../../daemon/templates");
const [ONE, OTHER] = ["one@bay.example", "other@bay.example"];
const QUEUE = "/station/qua/log/queue";

let service, server, browser, context, page;

const day = (who) => `<!doctype html><html lang="en"><title>Day</title><main><h1>Day of ${who}</h1>
<form data-queue="use" data-station="qua" data-who="${who}" action="/station/qua/log" method="post">
<input type="hidden" name="token" value="t"><input type="hidden" name="key" value="k">
<button name="what" value="launch">Launch</button></form>
<section id="kept" hidden><h3>On this phone</h3><p id="kept-says"></p><ul id="kept-list"></ul></section></main>
<script src="/queue.js" defer></script><script src="/app.js" defer></script></html>`;

const answer = async (request, response) => {
  const { pathname } = new URL(request.url, "http://localhost");
  const send = (status, type, body, more = {}) => {
    response.writeHead(status, { "content-type": type, "cache-control": "no-store", ...more });
    response.end(body);
  };
  if (["/queue.js", "/app.js", "/sw.js"].includes(pathname)) {
    return send(200, "text/javascript", await readFile(path.join(templates, pathname)));
  }
  if (request.method === "POST" && pathname === "/sign-in") {
    service.who = service.next;
    return send(303, "text/plain", "", { location: "/station/qua" });
  }
  if (pathname !== QUEUE) {
    return /^\/station\/qua(\/card)?$/.test(pathname) ? send(200, "text/html", day(service.who)) : send(200, "text/plain", "");
  }
  if (request.method === "GET") {
    service.asked += 1;
    await service.holds;
  }
  if (request.method === "GET") return send(200, "application/json", JSON.stringify({ token: service.who, who: service.who }));
  let text = "";
  for await (const part of request) text += part;
  // The word of another's sign-in is refused, as the service does.
  if (request.headers["x-token"] !== service.who) return send(403, "text/html", "<h1>no</h1>");
  const entries = JSON.parse(text);
  const told = service.takes(entries);
  service.posts.push({ by: service.who, entries });
  if (told === "lost") return request.socket.destroy();
  if (typeof told === "number") return send(told, "text/html", "<h1>no</h1>", service.headers);
  return send(200, "application/json", JSON.stringify(told));
};

const taken = (entries) => entries.map(({ key }) => ({ key, answer: "sent", because: "" }));

before(async () => {
  server = http.createServer((request, response) => answer(request, response).catch(() => response.destroy()));
  await new Promise((done) => server.listen(0, "127.0.0.1", done));
  browser = await chromium.launch({ executablePath: process.env.CHROMIUM ?? "/usr/bin/chromium", args: ["--no-sandbox"] });
});
after(async () => {
  await browser?.close();
  server.closeAllConnections();
  await new Promise((done) => server.close(done));
});
beforeEach(async () => {
  await context?.close();
  service = { who: ONE, next: ONE, takes: taken, posts: [], headers: {}, asked: 0 };
  context = await browser.newContext({ ...PHONE, serviceWorkers: "allow" });
  page = await context.newPage();
  await page.goto(`http://127.0.0.1:${server.address().port}/station/qua`);
});

const press = () => page.getByRole("button", { name: "Launch", exact: true }).click();
const says = (text) => page.locator("#kept", { hasText: text }).waitFor();
const entries = () => page.evaluate(() => self.kept.all());
const until = (fits) => asked(page, fits);
const waiting = () => page.evaluate(() => self.kept.known("wait"));
// The wait after a fault is over.
const later = () => page.evaluate(() => new Promise((done, failed) => {
  const opened = indexedDB.open("tallow", 1);
  opened.onsuccess = () => {
    const turn = opened.result.transaction("known", "readwrite");
    const known = turn.objectStore("known").get("wait");
    known.onsuccess = () => known.result && turn.objectStore("known").put({ ...known.result, until: 0 }, "wait");
    turn.oncomplete = done;
    turn.onerror = failed;
  };
}));

test("an entry whose answer was lost is not taken back, and is one record", async () => {
  let losing = true;
  service.takes = (sent) => (losing ? "lost" : taken(sent));
  await press();
  await says("it may have arrived");
  assert.equal(await page.getByRole("button", { name: /^Take it back/ }).count(), 0);
  // Nor by a page that was opened before it went out.
  const [entry] = await entries();
  await page.evaluate((key) => self.kept.takeBack(key), entry.key);
  assert.equal((await entries()).length, 1);
  losing = false;
  await page.reload();
  await page.locator("#kept-list li[data-state=sent]").waitFor();
  const keys = new Set(service.posts.flatMap(({ entries: sent }) => sent.map(({ key }) => key)));
  assert.deepEqual([...keys], [entry.key]);
});

test("an entry that never went out is taken back", async () => {
  await context.setOffline(true);
  await press();
  await says("kept here");
  await page.getByRole("button", { name: /^Take it back/ }).click();
  await until(async () => (await entries()).length === 0);
  await context.setOffline(false);
  await page.reload();
  assert.equal(service.posts.length, 0);
});

test("an entry that is taken back while its sending is made up does not go", async () => {
  let go;
  service.holds = new Promise((done) => (go = done));
  service.asked = 0;
  await press();
  await until(async () => (await entries()).length === 1 && service.asked > 0);
  const [{ key }] = await entries();
  await page.evaluate((key) => self.kept.takeBack(key), key);
  go();
  await page.evaluate(() => self.kept.send());
  assert.deepEqual([service.posts, await entries()], [[], []]);
  await press();
  await until(async () => (await entries())[0]?.state === "sent");
  assert.deepEqual(service.posts.map(({ entries }) => entries.length), [1]);
});

test("a fault of the service is said as one, and waits longer each time", async () => {
  service.takes = () => 500;
  await press();
  await says("There is signal, but the service did not take them in (answer 500)");
  const sent = service.posts.length;
  await page.reload();
  await says("answer 500");
  assert.equal(service.posts.length, sent, "it is not asked again at once");
  const before = await waiting();
  const first = before.until - Date.now();
  await later();
  await page.reload();
  await until(async () => (await waiting()).times > before.times);
  const second = (await waiting()).until - Date.now();
  assert.ok(first > 0 && second > first * 1.5, `${first} ms, then ${second} ms`);
  service.takes = taken;
  await later();
  await page.reload();
  await page.locator("#kept-list li[data-state=sent]").waitFor();
  assert.equal(await waiting(), null);
});

test("the service's own wait is kept to", async () => {
  service.takes = () => 503;
  service.headers = { "retry-after": "300" };
  await press();
  await says("answer 503");
  const wait = (await waiting()).until - Date.now();
  assert.ok(wait > 250_000, `${wait} ms`);
});

test("one entry that cannot be read holds no other up", async () => {
  await context.setOffline(true);
  await press();
  await until(async () => (await entries()).length === 1);
  // Until the first is dealt with a second press is the same press.
  await page.waitForFunction(() => !document.querySelector("form").dataset.sending);
  await press();
  await until(async () => (await entries()).length === 2);
  const bad = (await entries())[0].key;
  service.takes = (sent) => (sent.some(({ key }) => key === bad) ? 400 : taken(sent));
  await context.setOffline(false);
  await page.reload();
  await page.locator("#kept-list li[data-state=sent]").waitFor();
  await page.locator("#kept-list li[data-state=refused]", { hasText: "the service cannot read it (400)" }).waitFor();
});

const kept = () => page.evaluate(async () => {
  const cache = await caches.open("tallow-pages-1");
  const pages = await Promise.all((await cache.keys()).map(async (key) => (await cache.match(key)).text()));
  return pages.join("\n");
});

test("whoever comes next on the phone reads nothing of the one before, whose entries stay theirs", async () => {
  await page.evaluate(() => navigator.serviceWorker.ready);
  await page.reload();
  await until(async () => /Day of one@bay/.test(await kept()));
  assert.match(await kept(), /Day of one@bay/);
  await context.setOffline(true);
  await press();
  await says("kept here");
  await context.setOffline(false);
  service.takes = () => 500;
  service.next = OTHER;
  await page.evaluate(() => {
    const form = document.createElement("form");
    [form.method, form.action] = ["post", "/sign-in"];
    document.body.append(form);
    form.submit();
  });
  await page.getByText("Day of other@bay.example").waitFor();
  assert.doesNotMatch(await kept(), /Day of one@bay/);
  await says("made by one@bay.example");
  assert.equal(await page.getByRole("button", { name: /^Take it back/ }).count(), 0);
  assert.equal((await entries())[0].who, ONE);
  for (const { by, entries: sent } of service.posts) assert.ok(sent.every(({ who }) => who === by), "sent in its maker's name");
});
