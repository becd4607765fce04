// The demo behind a wire that can be cut, and a browser before it.
import { spawn } from "node:child_process";
import { mkdirSync } from "node:fs";
import { readFile } from "node:fs/promises";
import { createRequire } from "node:module";
import net from "node:net";
import path from "node:path";
import { fileURLToPath } from "node:url";

import { chromium } from "playwright-core";

const here = path.dirname(fileURLToPath(import.meta.url));
const program = process.env.TALLOW ?? path.join(here, "../../target/debug/tallow");
const shots = process.env.SHOTS;
const axe = await readFile(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");

export const PHONE = { viewport: { width: 390, height: 844 }, hasTouch: true, isMobile: true };
export const DESK = { viewport: { width: 1280, height: 900 } };

/** Starts the demo; gives its port once it serves. */
const demo = () => new Promise((done, failed) => {
  const child = spawn(program, ["demo", "--listen", "127.0.0.1:0"]);
  let heard = "";
  child.stdout.on("data", (text) => {
    heard += text;
    const port = /Look at http:\/\/127\.0\.0\.1:(\d+)\//.exec(heard)?.[1];
    if (port) done({ child, port: Number(port) });
  });
  child.stderr.on("data", (text) => { heard += text; });
  child.on("exit", (code) => failed(new Error(`the demo ended with ${code}: ${heard}`)));
});

/** A wire to a port of this machine that can be cut and mended. */
const wire = async (port) => {
  const open = new Set();
  let cut = false;
  const server = net.createServer((near) => {
    if (cut) return near.destroy();
    const far = net.connect(port, "127.0.0.1");
    for (const end of [near, far]) {
      open.add(end);
      end.on("close", () => open.delete(end));
      end.on("error", () => {});
    }
    near.pipe(far).pipe(near);
    near.on("close", () => far.destroy());
    far.on("close", () => near.destroy());
  });
  await new Promise((done) => server.listen(0, "127.0.0.1", done));
  return {
    port: server.address().port,
    cut() {
      cut = true;
      for (const end of open) end.destroy();
    },
    mend() { cut = false; },
    close() {
      this.cut();
      return new Promise((done) => server.close(done));
    },
  };
};

/** Everything a check needs, and its end. */
export const room = async () => {
  const { child, port } = await demo();
  const line = await wire(port);
  const executablePath = process.env.CHROMIUM ?? "/usr/bin/chromium";
  const browser = await chromium.launch({ executablePath, args: ["--no-sandbox"] });
  return {
    line,
    browser,
    base: `http://127.0.0.1:${line.port}`,
    async end() {
      await browser.close();
      await line.close();
      child.removeAllListeners("exit");
      await new Promise((done) => {
        child.on("exit", done);
        child.kill("SIGINT");
      });
    },
  };
};

/** Signs somebody of the demo in by a press. */
export const comeIn = async (page, base, name) => {
  await page.goto(`${base}/sign-in`);
  await page.getByRole("button", { name, exact: true }).click();
  await page.waitForURL((url) => !url.pathname.startsWith("/sign-in"));
};

/** Asks until it is so: what the browser does by itself takes the time it takes. */
export const until = async (page, fits) => {
  for (let tries = 0; tries < 400; tries += 1) {
    if (await fits().catch(() => false)) return;
    await page.waitForTimeout(50);
  }
  throw new Error(`it did not come about: ${fits}`);
};

/** What axe-core finds, as lines of text. */
export const violations = async (page) => {
  // Run in a world of its own: the page's content policy lets no such script in.
  await page.evaluate(axe);
  const { violations: found } = await page.evaluate(() => self.axe.run(document, {
    runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"],
  }));
  return found.flatMap((one) => one.nodes.map((node) => `${one.id}: ${node.html.slice(0, 200)} ${node.failureSummary}`));
};

/** Elements that are pressed and are smaller than a gloved finger; links within a sentence are as high as it. */
export const small = (page) => page.evaluate(() => {
  const shown = [...document.querySelectorAll(".gloves button, .gloves summary, .gloves input:not([type=hidden]), .gloves .press, .gloves .ways a")];
  const size = (one) => (one.closest("label.pick") ?? one).getBoundingClientRect();
  return shown
    .filter((one) => one.checkVisibility())
    .map((one) => [one.outerHTML.slice(0, 120), size(one)])
    .filter(([, box]) => box.height < 44 || box.width < 44)
    .map(([html, box]) => `${Math.round(box.width)}x${Math.round(box.height)} ${html}`);
});

/** How far a page reaches beyond its window. */
export const overflow = (page) => page.evaluate(() => document.documentElement.scrollWidth - innerWidth);

/** Keeps a picture, where somebody wants to look. */
export const look = async (page, name) => {
  if (!shots) return;
  mkdirSync(shots, { recursive: true });
  await page.screenshot({ path: path.join(shots, `${name}.png`), fullPage: true });
};
