// The clerk at stores: gear out to a station, and the paper that came with it.
import assert from "node:assert/strict";
import { after, before, test } from "node:test";

import { DESK, comeIn, look, overflow, room, violations } from "./room.mjs";

let stores, page;

before(async () => {
  stores = await room();
  page = await (await stores.browser.newContext(DESK)).newPage();
});
after(() => stores?.end());

const fit = async (name) => {
  await look(page, `desk-${name}`);
  assert.deepEqual(await violations(page), [], name);
  assert.ok((await overflow(page)) <= 0, `${name} reaches beyond the window`);
};

test("gear is found, and its certificate comes in with the paper", async () => {
  await comeIn(page, stores.base, "Stores Clerk");
  await page.goto(`${stores.base}/search?q=W-05`);
  await fit("search");
  // A spare wire of the central stores; one that a station owns offers a clerk no such form.
  const own = "W-0502";
  await page.getByRole("link", { name: new RegExp(`^${own}`) }).first().click();
  await page.waitForURL(`**/item/${own}`);
  await fit("item-in-store");
  await page.getByRole("link", { name: "Add a certificate" }).click();
  await page.getByLabel("Number", { exact: true }).fill("TR-9200");
  await page.getByRole("button", { name: "Take it in" }).click();
  await page.locator(".fault").first().waitFor();
  assert.equal(await page.getByLabel("Number", { exact: true }).inputValue(), "TR-9200");
  await fit("certificate");
  await page.getByLabel("Issued by").fill("Independent Gear Surveys");
  await page.getByLabel("Issued on").fill("2026-10-01");
  await page.getByLabel("The paper itself").setInputFiles({
    name: "TR-9200.pdf", mimeType: "application/pdf", buffer: Buffer.from("%PDF-1.4\n1 0 obj<<>>endobj\ntrailer<<>>\n%%EOF\n"),
  });
  await page.getByRole("button", { name: "Take it in" }).click();
  await page.waitForURL(`**/item/${own}`);
  assert.match(await page.locator("main").innerText(), /TR-9200/);
});

test("what is not the clerk's is not offered, and refused in words", async () => {
  await page.goto(`${stores.base}/item/F-0417`);
  assert.equal(await page.getByRole("link", { name: "Release it" }).count(), 0);
  await page.goto(`${stores.base}/station/qua/hold`);
  await page.getByText("This is not yours to do").waitFor();
  await fit("not-yours");
});

test("stock goes to a station by its name, and the page says what was done", async () => {
  await page.goto(`${stores.base}/stores/move/SH-4.75`);
  await page.getByLabel("How much").fill("2");
  assert.equal(await page.locator("#l-to option[value=qua]").innerText(), "Quarle Beach");
  await page.getByLabel("To", { exact: true }).fill("quarle beach");
  await fit("move");
  await page.getByRole("button", { name: "Move it" }).click();
  await page.getByRole("status").filter({ hasText: "2 of SH-4.75 moved from stores to qua." }).waitFor();
  await fit("moved");
  await page.goto(`${stores.base}/stores/part/SH-4.75`);
  assert.equal(await page.getByText("moved from stores to qua").count(), 0);
});
