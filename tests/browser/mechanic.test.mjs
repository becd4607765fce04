// The mechanic's day on a phone: with signal, without it, and back.
import assert from "node:assert/strict";
import { after, before, test } from "node:test";

import { PHONE, comeIn, look, overflow, room, small, until, violations } from "./room.mjs";

const NAME = "Station Mechanic, Quarle Beach";
let beach, context, page;

before(async () => {
  beach = await room();
  context = await beach.browser.newContext({ ...PHONE, serviceWorkers: "allow" });
  page = await context.newPage();
  page.on("pageerror", (error) => assert.fail(`a script failed: ${error}`));
});
after(() => beach?.end());

const day = () => `${beach.base}/station/qua`;
const fit = async (name) => {
  await look(page, `phone-${name}`);
  assert.deepEqual(await violations(page), [], name);
  assert.deepEqual(await small(page), [], name);
  assert.ok((await overflow(page)) <= 0, `${name} reaches beyond the window`);
};
const left = async (count) => {
  const text = await page.locator("main").innerText();
  assert.match(text, new RegExp(`${count} launches left of 250`), text.slice(0, 3000));
};
// So many entries stand so on the phone.
const stand = (state, count) => page.waitForFunction(
  ([state, count]) => document.querySelectorAll(`#kept-list li[data-state=${state}]`).length === count,
  [state, count],
);

test("the day, and two presses", async () => {
  await comeIn(page, beach.base, NAME);
  await page.goto(day());
  await left(8);
  await fit("day");
  await page.getByRole("button", { name: "Launch", exact: true }).click();
  await page.getByText("Last entries").waitFor();
  // Today's, not one of the days before.
  await page.getByText(/12 Oct 2026 .*: launch \(launches on LC-2\/07\)/).first().waitFor();
  await left(7);
  await page.getByRole("button", { name: /^Undo: .*launch/ }).first().click();
  await page.getByText("8 launches left of 250").first().waitFor();
});

test("each line opens to its work", async () => {
  await page.goto(day());
  await page.evaluate(() => document.querySelectorAll("details").forEach((one) => { one.open = true; }));
  await fit("day-open");
  const done = page.getByRole("link", { name: /^Done: / }).first();
  await done.click();
  await page.waitForURL("**/work/**");
  await fit("work");
  await page.goto(`${beach.base}/work/F-0417/fall-measurement`);
  await page.getByLabel("Broken wires in 30d").fill("90");
  await page.locator("#judged li").first().waitFor();
  assert.match(await page.locator("#judged").innerText(), /discard/);
  await look(page, "phone-judged");
  await page.getByLabel("Passed").check();
  await page.getByRole("button", { name: "Record it" }).click();
  await page.locator("#verdict").waitFor();
  await fit("verdict");
  await page.goto(`${beach.base}/later/F-0417/fall-measurement`);
  await page.getByRole("button", { name: "Not now" }).click();
  await page.getByText(/Say why/).waitFor();
  await fit("not-now");
  await page.getByLabel("Why not now").fill("gauge is at the loft");
  await page.getByRole("button", { name: "Not now" }).click();
  await page.waitForURL(day());
});

test("the card is tapped", async () => {
  await page.goto(`${day()}/card`);
  await fit("card");
  await page.getByRole("button", { name: /^In order/ }).first().click();
  await page.getByText(/In order 12 Oct 2026/).first().waitFor();
});

test("what was hard about it opens a hold", async () => {
  await page.goto(`${day()}/hold`);
  await fit("hard");
});

test("a launch logged without signal arrives once and moves the dates", async () => {
  await page.goto(day());
  await left(8);
  // The worker has the day once it has taken the page over.
  await page.evaluate(() => navigator.serviceWorker.ready);
  await page.reload();
  const pages = () => page.evaluate(async () => (await (await caches.open("tallow-pages-1")).keys()).length);
  await until(page, async () => (await pages()) > 3);
  beach.line.cut();
  await context.setOffline(true);
  await page.getByRole("button", { name: "Launch", exact: true }).click();
  await page.getByText("kept here").waitFor();
  await stand("kept", 1);
  await look(page, "phone-kept");
  // The phone is put away and taken out again.
  await page.reload();
  await page.getByText("kept here").waitFor();
  await left(8);
  await page.getByRole("button", { name: "Recovery", exact: true }).click();
  await stand("kept", 2);
  await fit("offline");
  await page.goto(`${beach.base}/work/F-0417/fall-run-over`);
  await page.getByLabel("Passed").check();
  await page.getByRole("button", { name: "Record it" }).click();
  await page.getByText("kept here").first().waitFor();
  await page.goto(day());
  await stand("kept", 3);
  await page.close();
  page = await context.newPage();
  await page.goto(day());
  await stand("kept", 3);
  beach.line.mend();
  await context.setOffline(false);
  await stand("kept", 0);
  await stand("sent", 4);
  await page.getByText("7 launches left of 250").first().waitFor();
  await fit("sent");
  const entries = await page.locator("#log > .entries li").allInnerTexts();
  assert.equal(entries.filter((text) => /launch \(/.test(text) && !/recover/.test(text)).length >= 1, true);
  // Sent again, from another tab and once more, it stays one.
  await page.reload();
  await left(7);
});

test("what is refused says why, and an expired sign-in keeps the entries", async () => {
  await page.goto(day());
  await page.evaluate(() => self.kept.put({
    key: crypto.randomUUID(), what: "recovery", at: new Date().toISOString(), off_s: 0, station: "qua",
    who: document.querySelector("form[data-who]").dataset.who, fields: { pulls: "500" }, state: "kept",
    because: "", made: Date.now(),
  }));
  await page.reload();
  await page.getByText(/refused, because/).waitFor();
  await look(page, "phone-refused");
  await page.evaluate(() => document.querySelectorAll("details").forEach((one) => { one.open = true; }));
  const cookies = await context.cookies();
  await context.clearCookies();
  await page.getByRole("button", { name: "Launch", exact: true }).click();
  await page.getByText("Sign in to send.").waitFor();
  await look(page, "phone-expired");
  await context.addCookies(cookies);
  await page.reload();
  await page.getByText("6 launches left of 250").first().waitFor();
});
