// Photos in: dropped, chosen or shot; sent again by themselves until the program has them; each shows what was found in it.
import { ask, say } from "./common.js";

const zone = document.querySelector(".drop");
const list = document.querySelector("ul.photos");
const { drop, list: where, picture, page } = zone.dataset;
const waiting = [];
let busy = 0;

function card(name) {
  const item = document.createElement("li");
  item.dataset.name = name;
  item.innerHTML = '<a><img alt="" width="240" height="180"></a><p class="name"></p><p class="found" role="status"></p><ul class="plain"></ul>';
  item.querySelector(".name").textContent = name;
  item.querySelector(".found").textContent = "waiting…";
  list.prepend(item);
  return item;
}

function show(item, photo) {
  item.dataset.name = photo.name;
  item.querySelector(".name").textContent = photo.name;
  const found = item.querySelector(".found");
  const img = item.querySelector("img");
  img.src = picture + encodeURIComponent(photo.name);
  img.alt = `Photo ${photo.name}`;
  if (page) item.querySelector("a").href = page + encodeURIComponent(photo.name);
  const notes = item.querySelector("ul");
  notes.replaceChildren();
  if (photo.trouble) { found.textContent = `✖ ${photo.trouble}`; return; }
  const used = photo.markers.filter((m) => m.state === "used" || m.state === "placed");
  found.textContent = `${used.length || photo.card ? "✓" : "▲"} ${used.length} markers${photo.card ? ", card" : ", no card"}${used.length ? ": " + used.map((m) => m.title).join(", ") : ""}`;
  for (const f of photo.findings) {
    const line = document.createElement("li");
    line.textContent = `${f.level === "note" ? "•" : "▲"} ${f.what}${f.do ? `. Do: ${f.do}` : ""}`;
    notes.append(line);
  }
  cover(photo);
  if (item.dataset.sent) item.dataset.shown = performance.now();
}

// where in the picture the card was seen: one dot a corner
function cover(photo) {
  const svg = document.getElementById("cover");
  if (!svg || !photo.card_points) return;
  const [w, h] = photo.size;
  const flat = w >= h ? (p) => [p[0] / w * 160, p[1] / h * 120] : (p) => [p[1] / h * 160, (1 - p[0] / w) * 120];
  for (const p of photo.card_points) {
    const [x, y] = flat(p);
    const dot = document.createElementNS("http://www.w3.org/2000/svg", "circle");
    dot.setAttribute("cx", x); dot.setAttribute("cy", y); dot.setAttribute("r", 1.4); dot.setAttribute("class", "dot");
    svg.append(dot);
  }
}

async function send(job) {
  busy += 1;
  const found = job.item.querySelector(".found");
  try {
    found.textContent = "sending…";
    const photo = await ask(`${drop}?name=${encodeURIComponent(job.file.name)}`, { method: "POST", body: job.file, headers: { "Content-Type": "application/octet-stream" } });
    show(job.item, photo);
    if (photo.new === false) found.textContent += " (it was here already)";
  } catch (error) {
    if (error.retry || !error.status) {
      // the connection broke or the program is busy: it is sent again
      found.textContent = `▲ ${error.what ?? "the connection broke"}; it is sent again`;
      job.wait = Math.min((job.wait ?? 500) * 2, 15000);
      setTimeout(() => { waiting.push(job); next(); }, job.wait);
    } else found.textContent = `✖ ${error.what ?? error.message}${error.do ? `: ${error.do}` : ""}`;
  }
  busy -= 1;
  next();
}

function next() { while (busy < 2 && waiting.length) send(waiting.shift()); }

function take(files) {
  for (const file of files) {
    const item = card(file.name);
    item.dataset.sent = performance.now();
    waiting.push({ file, item });
  }
  next();
}

for (const input of zone.querySelectorAll("input[type=file]")) input.addEventListener("change", () => { take(input.files); input.value = ""; });
zone.addEventListener("dragover", (event) => { event.preventDefault(); zone.classList.add("over"); });
zone.addEventListener("dragleave", () => zone.classList.remove("over"));
zone.addEventListener("drop", (event) => { event.preventDefault(); zone.classList.remove("over"); take(event.dataTransfer.files); });
window.addEventListener("beforeunload", (event) => { if (busy || waiting.length) event.preventDefault(); });

try {
  const { photos } = await ask(where);
  for (const name of photos) {
    const item = card(name);
    try { show(item, await ask(`${where}/${encodeURIComponent(name)}`)); } catch (error) { item.querySelector(".found").textContent = `✖ ${error.message}`; }
  }
} catch (error) { say(error); }
