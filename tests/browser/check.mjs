// Opens reports from the disk: no request, no complaint, slider, units, looks and the scene in space
// respond, nothing serious for those who read with their ears or keys.
import { readFileSync, mkdtempSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { chromium } from "playwright-core";

const [folder, pictures] = process.argv.slice(2);
const faults = [];
const expect = (holds, what) => { if (!holds) faults.push(what); };
const axe = readFileSync("node_modules/axe-core/axe.min.js", "utf8");

const browser = await chromium.launchPersistentContext(mkdtempSync(join(tmpdir(), "browser-")), {
  executablePath: process.env.CHROMIUM || "/usr/bin/chromium",
  headless: true,
  offline: true,
  // the policy of the page forbids scripts that are not its own; axe is put in beside it
  bypassCSP: false,
  args: [
    "--no-sandbox", "--use-angle=swiftshader", "--enable-unsafe-swiftshader", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
  ],
});

const open = async (name, look, size) => {
  const page = await browser.newPage();
  page.on("console", (m) => { if (m.type() === "error" || m.type() === "warning") faults.push(`${name}: ${m.type()}: ${m.text()}`); });
  page.on("pageerror", (e) => faults.push(`${name}: ${e.message}`));
  page.on("dialog", (d) => { faults.push(`${name}: a name runs: ${d.message()}`); d.dismiss(); });
  page.on("request", (r) => { if (!r.url().startsWith("data:") && !r.url().endsWith("/report.html")) faults.push(`${name} asks for ${r.url()}`); });
  await page.setViewportSize(size);
  await page.emulateMedia({ colorScheme: look, reducedMotion: "reduce" });
  await page.goto(`file://${folder}/${name}/report.html`);
  await page.waitForTimeout(500);
  return page;
};

const accessible = async (page, what) => {
  // through the debugger: the page's own policy lets no other script in
  const session = await browser.newCDPSession(page);
  const run = async (expression) => {
    const { result, exceptionDetails } = await session.send("Runtime.evaluate", { expression, awaitPromise: true, returnByValue: true });
    if (exceptionDetails) throw new Error(`${what}: ${exceptionDetails.text} ${exceptionDetails.exception?.description || ""}`);
    return result.value;
  };
  await run(axe + ";0");
  const found = await run("axe.run(document, { resultTypes: ['violations'] }).then(r => JSON.stringify(r.violations.map(v => [v.impact, v.id, v.nodes.length, v.nodes[0].html.slice(0, 160)])))");
  for (const [impact, id, count, first] of JSON.parse(found)) {
    if (impact === "serious" || impact === "critical") faults.push(`${what}: ${impact} ${id} (${count}): ${first}`);
  }
};

const DESK = { width: 1280, height: 720 };
const PHONE = { width: 390, height: 844 };

const page = await open("passes", "light", DESK);
expect((await page.locator("#verdict .word").textContent()) === "Passes", "the verdict");
const top = await page.locator("#verdict .verdict").boundingBox();
expect(top && top.y + top.height < DESK.height, "the verdict on the first screen");
expect((await page.locator(".points li").count()) >= 2, "weak points");
await page.screenshot({ path: join(pictures, "top.png") });

// the slider moves every picture
const slider = page.locator("#slider");
const shown = () => page.locator("#now .step.on").textContent();
await slider.focus();
const before = await shown();
const cursor = await page.locator("#fig-outside .cursor").getAttribute("x1");
await page.keyboard.press("ArrowLeft");
expect((await shown()) !== before, "the slider shows another step");
expect((await page.locator("#fig-outside .cursor").getAttribute("x1")) !== cursor, "the cursor follows");
const number = await slider.inputValue();
expect((await page.locator(`#fig-nesting .step.on[data-step='${number}']`).count()) === 1, "the diagram follows");
expect((await slider.getAttribute("aria-valuetext")).startsWith(`${number} of`), "the step is read out");
await page.locator(".points a.go").first().click();
expect((await shown()) === before, "a weak point leads to its step");

// the scene in space
const canvas = page.locator("#view");
await canvas.scrollIntoViewIfNeeded();
await page.waitForTimeout(400);
const drawn = () => canvas.getAttribute("data-drawn");
// as many different colours as a drawing has, and an empty canvas has not
const colours = () => page.evaluate(() => {
  const gl = document.getElementById("view").getContext("webgl2");
  const bytes = new Uint8Array(4 * gl.drawingBufferWidth * gl.drawingBufferHeight);
  gl.readPixels(0, 0, gl.drawingBufferWidth, gl.drawingBufferHeight, gl.RGBA, gl.UNSIGNED_BYTE, bytes);
  const seen = new Set();
  let sum = 0;
  for (let i = 0; i < bytes.length; i += 4) { const c = (bytes[i] << 16) | (bytes[i + 1] << 8) | bytes[i + 2]; seen.add(c); sum = (sum * 31 + c) >>> 0; }
  return [seen.size, sum];
});
const [many, sum] = await colours();
expect(many > 50, `the scene in space is drawn (${many} colours)`);
const state = await drawn();
await canvas.focus();
await page.keyboard.press("ArrowRight");
await page.waitForTimeout(300);
expect((await drawn()) !== state, "arrow keys turn the scene");
expect((await colours())[1] !== sum, "and the picture changes");
const box = await canvas.boundingBox();
const turned = await drawn();
await page.mouse.move(box.x + 200, box.y + 100);
await page.mouse.down();
await page.mouse.move(box.x + 300, box.y + 140, { steps: 4 });
await page.mouse.up();
await page.waitForTimeout(300);
expect((await drawn()) !== turned, "the mouse turns it");
await page.locator("[data-view=stent]").click();
await page.waitForTimeout(300);
await page.locator("#space").screenshot({ path: join(pictures, "space.png") });
const [, still] = await colours();
await page.locator("#next").click();
await page.waitForTimeout(400);
expect((await drawn()).split(" ")[0] === String(Number(number) + 2), "it follows the steps");
expect((await colours())[1] !== still, "and shows them");

// units
const fit = page.locator(".figures [data-kind=d]").first();
const way = page.locator(".figures [data-kind=l]").first();
const inMm = [await way.textContent(), await fit.textContent()];
await page.locator("#units").selectOption("in");
const wayIn = await way.textContent();
expect(wayIn.endsWith(" in") && Math.abs(parseFloat(wayIn) * 25.4 - parseFloat(inMm[0])) < 2, `inches: ${wayIn} for ${inMm[0]}`);
await page.locator("#units").selectOption("Fr");
const fitFr = await fit.textContent();
expect(fitFr.endsWith(" Fr") && Math.abs(parseFloat(fitFr) / 3 - parseFloat(inMm[1])) < 0.01, `French: ${fitFr} for ${inMm[1]}`);
// of all the page says only names and spans keep their millimetres
const kept = await page.evaluate(() => {
  const words = [];
  const texts = document.createTreeWalker(document.querySelector("main"), NodeFilter.SHOW_TEXT);
  while (texts.nextNode()) {
    const at = texts.currentNode;
    if (at.parentElement.closest("script, desc, title, #basis, #now, #fig-clock, table.steps, .told, .points, caption")) continue;
    // a place in a plot is named after its distance
    if (at.parentElement.closest("svg") && / at \d+ mm$/.test(at.data)) continue;
    // a force on a length of wall is no length
    if (/(^|[^a-z/])mm\b/.test(at.data)) words.push(at.data);
  }
  return words;
});
expect(kept.length === 0, `lengths without a switch: ${kept.slice(0, 3).join(" | ")}`);
await page.locator("#units").selectOption("mm");
expect((await way.textContent()) === inMm[0], "and back");

// comparison beside the plan, and every table, fit the window
expect(await page.evaluate(() => document.documentElement.scrollWidth <= innerWidth), "nothing wider than the window");

// light and dark
const ground = () => page.evaluate(() => getComputedStyle(document.body).backgroundColor);
const light = await ground();
await accessible(page, "light");
await page.locator("#look").selectOption("dark");
expect((await ground()) !== light, "the dark look");
await accessible(page, "dark");
await page.locator("#look").selectOption("auto");
await page.pdf({ path: join(pictures, "print.pdf"), preferCSSPageSize: true, printBackground: true });

// everything that is folded away on the screen lies open on paper but for what every value rests on, and is folded
// away again; that is printed when it is asked for
const folded = await page.locator("details:not([open])").count();
const sources = await page.locator("details.sources").count();
expect(folded > sources && sources > 3, "something is folded away");
await page.evaluate(() => dispatchEvent(new Event("beforeprint")));
expect((await page.locator("details:not([open])").count()) === sources, "only sources are folded away on paper");
await page.evaluate(() => dispatchEvent(new Event("afterprint")));
await page.locator("#print-basis").check();
await page.pdf({ path: join(pictures, "print-all.pdf"), preferCSSPageSize: true, printBackground: true });
await page.evaluate(() => dispatchEvent(new Event("beforeprint")));
expect((await page.locator("details:not([open])").count()) === 0, "nothing is folded away where sources are asked for");
await page.evaluate(() => dispatchEvent(new Event("afterprint")));
expect((await page.locator("details:not([open])").count()) === folded, "and it is folded away again");
await page.close();

const phone = await open("passes", "dark", PHONE);
expect(await phone.evaluate(() => document.documentElement.scrollWidth <= innerWidth), "a phone scrolls one way only");
// a wide plot shows where the tips are, and still whose they are
const names = phone.locator("#fig-nesting g.stay");
const [frame, label] = [await phone.locator(".scroll:has(> #fig-nesting)").boundingBox(), await names.boundingBox()];
expect(await phone.evaluate(() => document.querySelector(".scroll:has(> #fig-nesting)").scrollLeft > 100), "the plot is scrolled to the tips");
expect(Math.abs(label.x - frame.x) < 3, `names stay at the left: ${label.x} for ${frame.x}`);
// the menu stays, and leads somewhere, wherever the page is
await phone.evaluate(() => scrollTo(0, 4000));
const menu = phone.locator(".top nav");
expect((await menu.boundingBox()).y < 4 && await menu.isVisible(), "the menu stays in sight");
await menu.locator("a[href='#clock']").click();
await phone.waitForTimeout(200);
const clock = await phone.locator("#h-clock").boundingBox();
const bar = await phone.locator(".stepbar").boundingBox();
expect(clock.y >= bar.y + bar.height - 2 && clock.y < PHONE.height, `the clock comes into sight below the bar: ${clock.y}`);
for (const table of await phone.locator("main table").all()) {
  const scrolls = await table.evaluate((t) => t.closest(".scroll") !== null);
  expect(scrolls, "every table scrolls within itself");
}
await phone.evaluate(() => scrollTo(0, 0));
await phone.screenshot({ path: join(pictures, "phone.png") });
await accessible(phone, "phone");
await phone.close();

const fails = await open("fails", "light", DESK);
expect((await fails.locator("#verdict .word").textContent()) === "Fails", "the failing plan fails");
await fails.screenshot({ path: join(pictures, "fails.png") });
await accessible(fails, "fails");
await fails.close();

const markup = await open("markup", "light", DESK);
expect((await markup.locator("h1").textContent()) === "<script>alert(1)</script>", "a name that looks like a script is shown as it is");
expect((await markup.locator(".about").first().textContent()).startsWith("<img src=x"), "and so is what it is about");
expect((await markup.locator("main img, main b[onclick], main svg[onload]").count()) === 0, "no name becomes markup");
for (let i = 0; i < 8; i++) await markup.locator("#prev").click();
await markup.close();

const compare = await open("compare", "light", DESK);
expect((await compare.locator("table.compare thead th").count()) === 6, "five plans side by side");
const wide = await compare.evaluate(() => { const box = document.querySelector(".scroll:has(table.compare)"); return [box.scrollWidth, box.clientWidth]; });
expect(wide[0] <= wide[1], `the comparison fits 1280 pixels: ${wide}`);
await compare.screenshot({ path: join(pictures, "compare.png"), fullPage: true });
await accessible(compare, "compare");
await compare.close();

await browser.close();
if (faults.length) {
  console.error(faults.join("\n"));
  process.exit(1);
}
