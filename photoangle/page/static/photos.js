// Photos in: dropped, chosen or shot, and sent by the outbox; each shows what was found in it.
import { ask, say } from "./common.js";
import { drop as letGo, keep, listen, ready, waitingFor } from "./outbox.js";

const zone = document.querySelector(".drop");
const list = document.querySelector("ul.photos");
const { drop, list: where, picture, page } = zone.dataset;

function card(name) {
  const item = document.createElement("li");
  item.dataset.name = name;
  item.innerHTML = '<a><img alt="" width="240" height="180"><span class="button" hidden>Check its markers</span></a><p class="name"></p><p class="found" role="status"></p><ul class="plain"></ul>';
  item.querySelector("img").alt = `Photo ${name}`;
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
  if (page) {
    item.querySelector("a").href = page + encodeURIComponent(photo.name);
    item.querySelector("a .button").hidden = false;
  }
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

function pending(entry, words) {
  const item = card(entry.name);
  item.dataset.entry = entry.id;
  item.dataset.sent = performance.now();
  const button = document.createElement("button");
  button.type = "button"; button.className = "let-go"; button.textContent = "Do not send it";
  button.setAttribute("aria-label", `Do not send ${entry.name}`);
  button.addEventListener("click", () => letGo(entry.id));
  item.append(button);
  item.querySelector(".found").textContent = words;
  return item;
}

const itemOf = (entry) => [...list.children].find((i) => i.dataset.entry === entry.id);

function heard({ entry, state, words, photo }) {
  if (entry.where !== drop) return;
  const item = itemOf(entry) ?? pending(entry, words);
  const found = item.querySelector(".found");
  if (state === "waiting") found.textContent = words.endsWith("…") ? words : `▲ ${words}; it is kept here and sent again`;
  else if (state === "sending") found.textContent = words;
  else if (state === "dropped") item.remove();
  else {
    item.querySelector(".let-go")?.remove();
    delete item.dataset.entry;
    if (state === "refused") { found.textContent = `✖ ${words}`; return; }
    for (const other of [...list.children]) if (other !== item && other.dataset.name === photo.name && !other.dataset.entry) other.remove();
    show(item, photo);
    if (photo.new === false) found.textContent += " (it was here already)";
  }
}

const take = (files) => keep(files, drop);

for (const input of zone.querySelectorAll("input[type=file]")) input.addEventListener("change", () => { take(input.files); input.value = ""; });
zone.addEventListener("dragover", (event) => { event.preventDefault(); zone.classList.add("over"); });
zone.addEventListener("dragleave", () => zone.classList.remove("over"));
zone.addEventListener("drop", (event) => { event.preventDefault(); zone.classList.remove("over"); take(event.dataTransfer.files); });

listen(heard);
await ready;
for (const entry of waitingFor(drop)) if (!itemOf(entry)) pending(entry, "waiting…");
try {
  const { photos } = await ask(where);
  for (const name of photos) {
    // one that has just arrived stands there already
    if ([...list.children].some((i) => !i.dataset.entry && i.dataset.name === name)) continue;
    const item = card(name);
    try { show(item, await ask(`${where}/${encodeURIComponent(name)}`)); } catch (error) { item.querySelector(".found").textContent = `✖ ${error.message}`; }
  }
} catch (error) { say(error); }
