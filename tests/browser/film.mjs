// Plays a film from the disk to its end, and looks at a picture out of its middle.
import { mkdtempSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { chromium } from "playwright-core";

const [film, width, height, seconds] = process.argv.slice(2);
const browser = await chromium.launchPersistentContext(mkdtempSync(join(tmpdir(), "browser-")), {
  executablePath: process.env.CHROMIUM || "/usr/bin/chromium",
  headless: true,
  offline: true,
  args: [
    "--no-sandbox", "--autoplay-policy=no-user-gesture-required", "--allow-file-access-from-files", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
  ],
});
const page = await browser.newPage();
// the browser's own page for a film
await page.goto(`file://${film}`);
const found = await page.evaluate(async () => {
  const video = document.querySelector("video");
  if (!video) return { fault: "the browser offers it for download instead of playing it" };
  const done = new Promise((good) => {
    video.addEventListener("ended", () => good("ended"), { once: true });
    video.addEventListener("error", () => good(video.error.message), { once: true });
    setTimeout(() => good(`still at ${video.currentTime} s after a minute`), 60000);
  });
  video.loop = false;
  video.muted = true;
  video.currentTime = 0;
  await video.play();
  const end = await done;
  const colours = new Set();
  video.currentTime = 0.5 * video.duration;
  await new Promise((good) => video.addEventListener("seeked", good, { once: true }));
  const canvas = new OffscreenCanvas(video.videoWidth, video.videoHeight);
  const context = canvas.getContext("2d");
  context.drawImage(video, 0, 0);
  const { data } = context.getImageData(0, 0, canvas.width, canvas.height);
  for (let i = 0; i < data.length; i += 4 * 97) colours.add(`${data[i] >> 4},${data[i + 1] >> 4},${data[i + 2] >> 4}`);
  const quality = video.getVideoPlaybackQuality();
  return { end, colours: colours.size, width: video.videoWidth, height: video.videoHeight, duration: video.duration, frames: quality.totalVideoFrames };
});
await browser.close();
const faults = [];
const expect = (holds, what) => { if (!holds) faults.push(what); };
expect(!found.fault, found.fault);
if (!found.fault) {
  expect(found.end === "ended", `it does not play to its end: ${found.end}`);
  expect(found.width === Number(width) && found.height === Number(height), `${found.width} × ${found.height} pixels`);
  expect(Math.abs(found.duration - Number(seconds)) < 0.2, `${found.duration} s`);
  expect(found.colours >= 8, `${found.colours} colours in the middle of it`);
}
if (faults.length) {
  for (const fault of faults) console.error(`film: ${fault}`);
  process.exit(1);
}
console.log(`the film plays in Chromium: ${found.duration} s, ${found.frames} pictures, ${found.colours} colours in the middle of it`);
