"use strict";
const charts = JSON.parse(document.getElementById("charts").textContent);
const downloads = JSON.parse(document.getElementById("downloads").textContent);
const dark = matchMedia("(prefers-color-scheme: dark)");
const AXIS = 80;  // pixels beside a map: the axis of latitude

// A map keeps its proportions, so that north and east keep one scale; another chart keeps its height.
function sizes(box, entry) {
  const room = Math.max(200, Math.min(box.clientWidth, 832));
  if (!entry.pans) return [room, entry.spec.height];
  const width = Math.round(room - AXIS);
  return [width, Math.round(width * entry.spec.height / entry.spec.width)];
}

async function draw(box) {
  const entry = charts[box.dataset.chart];
  const [width, height] = sizes(box, entry);
  const options = { actions: false, renderer: "svg", tooltip: { theme: dark.matches ? "dark" : "light" } };
  const { view } = await vegaEmbed(box, { ...entry.spec, width, height }, options);
  entry.view = view;
  box.style.minHeight = "";
  box.querySelector("svg").setAttribute("aria-hidden", "true");  // its title is the caption, its numbers are in the tables
  if (entry.pans) zoomable(box, entry);
}

function zoomable(box, entry) {
  const names = ["grid_lon", "grid_lat"];
  const domains = () => [entry.view.scale("x").domain(), entry.view.scale("y").domain()];
  const whole = domains();
  const show = (found) => {
    names.forEach((name, axis) => entry.view.signal(name, found[axis]));
    return entry.view.runAsync();
  };
  const scaled = (factor) => domains().map(([low, high]) => {
    const middle = (low + high) / 2, half = (high - low) / 2 * factor;
    return [middle - half, middle + half];
  });
  const acts = { in: () => show(scaled(0.5)), out: () => show(scaled(2)), all: () => show(whole) };
  for (const button of box.parentElement.querySelectorAll("[data-zoom]")) button.onclick = acts[button.dataset.zoom];
}

async function save(name) {
  const bytes = Uint8Array.from(atob(downloads[name]), (sign) => sign.charCodeAt(0));
  const text = await new Response(new Blob([bytes]).stream().pipeThrough(new DecompressionStream("deflate"))).blob();
  const link = document.createElement("a");
  link.href = URL.createObjectURL(text);
  link.download = name;
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 1000);
}

const boxes = [...document.querySelectorAll("[data-chart]")];
for (const button of document.querySelectorAll("[data-file]")) button.onclick = () => save(button.dataset.file);

// What is near the window first, so that a long page opens at once; then the others, one by one.
const draws = new Map();
const drawn = (box) => draws.get(box) || draws.set(box, draw(box)).get(box);
const watcher = new IntersectionObserver((seen) => seen.forEach((item) => {
  if (item.isIntersecting) {
    watcher.unobserve(item.target);
    drawn(item.target);
  }
}), { rootMargin: "600px" });
for (const box of boxes) {
  box.style.minHeight = `${sizes(box, charts[box.dataset.chart])[1]}px`;
  watcher.observe(box);
}
addEventListener("beforeprint", () => boxes.forEach(drawn));
dark.addEventListener("change", () => [...draws.keys()].forEach((box) => draws.set(box, draw(box))));
let waiting;
addEventListener("resize", () => {
  clearTimeout(waiting);
  waiting = setTimeout(() => draws.forEach(async (ready, box) => {
    await ready;
    const [width, height] = sizes(box, charts[box.dataset.chart]);
    charts[box.dataset.chart].view.width(width).height(height).runAsync();
  }), 150);
});
const idle = window.requestIdleCallback || setTimeout;
const rest = (place) => place < boxes.length && idle(() => drawn(boxes[place]).then(() => rest(place + 1)));
addEventListener("load", () => rest(0));
window.pageDrawn = () => Promise.all(boxes.map(drawn));
