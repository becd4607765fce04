// The engineer's Monday at a desk.
import assert from "node:assert/strict";
import { after, before, test } from "node:test";

import { DESK, PHONE, comeIn, look, overflow, room, violations } from "./room.mjs";

let region, page;

before(async () => {
  region = await room();
  page = await (await region.browser.newContext(DESK)).newPage();
  page.on("pageerror", (error) => assert.fail(`a script failed: ${error}`));
});
after(() => region?.end());

const fit = async (name, one = page) => {
  await look(one, `desk-${name}`);
  assert.deepEqual(await violations(one), [], name);
  assert.ok((await overflow(one)) <= 0, `${name} reaches beyond the window`);
};

test("decisions are taken from the region's page", async () => {
  await comeIn(page, region.base, "Regional Engineer");
  await page.goto(`${region.base}/`);
  await page.getByRole("heading", { name: "Decisions wanted" }).waitFor();
  await fit("region");
  const doubt = page.getByRole("listitem").filter({ hasText: "ST-4/06" });
  await doubt.getByRole("link", { name: "Say what happened" }).click();
  await fit("doubt");
  await page.getByLabel("The engine did other work").check();
  await page.getByRole("button", { name: "Settle it" }).click();
  await page.waitForURL("**/station/caw");
});

test("a concession for what stops a launch takes two", async () => {
  await page.goto(`${region.base}/item/F-0417`);
  await fit("item");
  await page.goto(`${region.base}/concession/F-0417/fall-renewal`);
  await page.getByLabel("Last day").fill("2026-10-31");
  await page.getByLabel("Conditions under which it may be used").fill("slack water only");
  await fit("concession");
  await page.getByRole("button", { name: "Give it" }).click();
  await page.waitForURL("**/second/**");
  await fit("second");
  const other = await (await region.browser.newContext(DESK)).newPage();
  await comeIn(other, region.base, "Head of Engineering");
  await other.goto(page.url());
  await fit("second-other", other);
  await other.getByRole("button", { name: "I agree, and sign" }).click();
  await other.waitForURL("**/item/F-0417?done=*");
  await other.getByRole("status").filter({ hasText: /F-0417 is waived from .*slack water only/ }).waitFor();
  await fit("conceded", other);
  assert.match(await other.locator("main").innerText(), /slack water only/);
});

test("a rule is rehearsed", async () => {
  await page.goto(`${region.base}/rules/winch-wire-measurement`);
  await page.getByRole("link", { name: "What if it were?" }).click();
  const text = page.getByLabel("The file, as a copy");
  const before = await text.inputValue();
  await text.fill(before.replace('calendar   = { every = "1 month" }', 'calendar   = { every = "21 days" }'));
  await page.getByRole("button", { name: "See what moves" }).click();
  await page.getByText(/things move from/).waitFor();
  await fit("rehearsal");
});

test("gear is set aside and released", async () => {
  await page.goto(`${region.base}/state/F-0463`);
  await fit("state");
  await page.goto(`${region.base}/fit/F-0463`);
  await fit("fit");
  await page.goto(`${region.base}/examine/F-0417/fall-thorough-examination`);
  await fit("report");
  await page.getByRole("button", { name: "Keep the draft" }).click();
  await page.getByText(/Draft kept/).first().waitFor();
  await fit("report-lacks");
});

test("the same pages on a phone", async () => {
  const context = await region.browser.newContext({ ...PHONE, storageState: await page.context().storageState() });
  const phone = await context.newPage();
  for (const path of ["/", "/item/F-0417", "/rules/rehearse/falls.toml", "/examine/F-0417/fall-thorough-examination"]) {
    await phone.goto(region.base + path);
    const name = path.replaceAll("/", "_");
    await look(phone, `phone${name}`);
    assert.deepEqual(await violations(phone), [], path);
    assert.ok((await overflow(phone)) <= 0, `${path} reaches beyond the window`);
  }
});
