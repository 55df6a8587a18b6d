// A page in headless Chromium: prints as JSON what it asked for, complained of, showed, printed and let be read.
// Arguments: the folder of the npm packages, the page's file.
import { createRequire } from "node:module";
import { readFile } from "node:fs/promises";
import { pathToFileURL } from "node:url";

const [, , packages, file] = process.argv;
const require = createRequire(packages + "/");
const { chromium } = require("playwright-core");
const axe = await readFile(require.resolve("axe-core/axe.min.js"), "utf8");
const FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
  "--disable-component-update", "--disable-sync"];

const browser = await chromium.launch({ executablePath: "/usr/bin/chromium", args: FLAGS });
const said = { requests: [], complaints: [] };

async function open(width, colorScheme) {
  const context = await browser.newContext({ viewport: { width, height: 900 }, colorScheme, acceptDownloads: true });
  const page = await context.newPage();
  page.setDefaultTimeout(120_000);
  page.on("request", (request) => said.requests.push(request.url()));
  page.on("console", (message) => said.complaints.push(message.text()));
  page.on("pageerror", (fault) => said.complaints.push(fault.message));
  const begun = Date.now();
  await page.goto(pathToFileURL(file).href);
  said.loadMs ??= Date.now() - begun;
  await page.evaluate(() => pageDrawn());
  said.drawnMs ??= Date.now() - begun;
  return page;
}

// Wider than its place: its text would be cut on paper, and is beside the screen on a phone.
const tooWide = () => [...document.querySelectorAll("table, pre, figure svg")]
  .filter((element) => element.getBoundingClientRect().right > document.body.getBoundingClientRect().right + 1)
  .map((element) => element.outerHTML.slice(0, 120));

async function contrast(page) {
  await page.addScriptTag({ content: axe });
  const found = await page.evaluate(() => axe.run(document, { runOnly: ["wcag2a", "wcag2aa"] }));
  return { passed: found.passes.map((rule) => rule.id),
    violated: found.violations.map((rule) => [rule.id, rule.nodes.map((node) => node.html.slice(0, 120)).slice(0, 3)]) };
}

async function map(page) {
  // What each mark stands for, as the library keeps it with the element, and how far from its place it is drawn, in pixels.
  const marks = () => page.evaluate(() => {
    const { view } = charts.map;
    const counts = {};
    let astray = 0;
    for (const mark of document.querySelectorAll("#figure-map .points_marks > path")) {
      const { datum } = mark.__data__;
      const [x, y] = mark.getAttribute("transform").match(/-?[\d.]+/g).map(Number);
      astray = Math.max(astray, Math.abs(x - view.scale("x")(datum.lon)), Math.abs(y - view.scale("y")(datum.lat)));
      counts[datum.how] = (counts[datum.how] ?? 0) + 1;
    }
    return { counts, astray };
  });
  const shown = {};
  const choice = page.locator("#figure-map select");
  for (const trail of await choice.locator("option").allTextContents()) {
    await choice.selectOption(trail);
    await page.waitForTimeout(100);
    shown[trail] = await marks();
  }
  const domains = () => page.evaluate(() => ["x", "y"].map((axis) => charts.map.view.scale(axis).domain()));
  const before = await domains();
  const bar = () => page.evaluate(() => [...document.querySelectorAll("#figure-map text")].map((text) => text.textContent)
    .find((text) => /^[\d.]+ k?m$/.test(text)));
  const bars = [await bar()];
  const mark = page.locator("#figure-map .points_marks > path").first();
  await mark.scrollIntoViewIfNeeded();
  const box = await mark.boundingBox();
  await page.mouse.move(box.x + box.width / 2, box.y + box.height / 2);
  await page.waitForSelector("#vg-tooltip-element.visible");
  const tooltip = await page.locator("#vg-tooltip-element").innerText();
  const frame = await page.locator("#figure-map .chart").boundingBox();
  await page.mouse.move(frame.x + frame.width / 2, frame.y + frame.height / 2);
  await page.mouse.down();
  await page.mouse.move(frame.x + frame.width / 2 + 60, frame.y + frame.height / 2, { steps: 4 });
  await page.mouse.up();
  const panned = await domains();
  await page.click("#figure-map [data-zoom=all]");
  await page.click("#figure-map [data-zoom=in]");
  await page.waitForTimeout(200);
  const zoomed = await domains();
  bars.push(await bar());
  await page.click("#figure-map [data-zoom=all]");
  return { shown, tooltip, before, panned, zoomed, bars };
}

async function saved(page, name) {
  const [download] = await Promise.all([page.waitForEvent("download"), page.click(`[data-file="${name}"]`)]);
  return (await readFile(await download.path(), "utf8"));
}

const light = await open(1200, "light");
said.widths = [await light.evaluate(() => document.documentElement.scrollWidth)];
said.charts = await light.evaluate(() => [...document.querySelectorAll("[data-chart]")]
  .map((box) => [box.dataset.chart, box.querySelectorAll("svg").length]));
if (await light.locator("#figure-map").count()) {
  said.map = await map(light);
  said.saved = await saved(light, await light.locator("[data-file$=geojson]").getAttribute("data-file"));
}
said.light = await contrast(light);
await light.evaluate(() => document.querySelectorAll("details").forEach((element) => { element.open = true; }));
await light.setViewportSize({ width: 688, height: 972 });  // A4 less its margins
await light.emulateMedia({ media: "print" });
await light.waitForTimeout(500);
said.cut = await light.evaluate(tooWide);
said.pdfBytes = (await light.pdf({ format: "A4", preferCSSPageSize: true })).length;
await light.context().close();

const dark = await open(390, "dark");
said.widths.push(await dark.evaluate(() => document.documentElement.scrollWidth));
said.paper = await dark.evaluate(() => getComputedStyle(document.body).backgroundColor);
said.dark = await contrast(dark);
await browser.close();
console.log(JSON.stringify(said));
