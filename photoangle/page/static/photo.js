// Markers put right by hand: tapped, dragged, dismissed, renamed, added under a loupe.
import { ask, post, say } from "./common.js";

const by = (id) => document.getElementById(id);
const stage = by("stage"), svg = by("overlay"), img = by("photo"), loupe = by("loupe");
const api = stage.dataset.api;
let photo = null, chosen = null, adding = false, moved = null, sharp = null, placed = -1e9;
const NS = "http://www.w3.org/2000/svg";

function draw() {
  const [w, h] = photo.size;
  svg.setAttribute("viewBox", `0 0 ${w} ${h}`);
  svg.replaceChildren();
  const unit = w / 100;
  for (const d of photo.dots) {
    const ring = document.createElementNS(NS, "circle"), text = document.createElementNS(NS, "text");
    ring.setAttribute("cx", d.at[0]); ring.setAttribute("cy", d.at[1]); ring.setAttribute("r", 8 * screen());
    ring.setAttribute("stroke-width", 2.5 * screen()); ring.setAttribute("class", "marker placed");
    text.setAttribute("x", d.at[0] + 11 * screen()); text.setAttribute("y", d.at[1]); text.setAttribute("font-size", Math.max(unit * 2, 13 * screen()));
    text.textContent = `${d.title} (dot)`;
    svg.append(ring, text);
  }
  for (const m of photo.markers) {
    const corners = chosen?.id === m.id && moved ? moved : m.corners;
    const outline = document.createElementNS(NS, "polygon");
    outline.setAttribute("points", corners.map((p) => p.join(",")).join(" "));
    outline.setAttribute("class", `marker ${m.state}${chosen?.id === m.id ? " chosen" : ""}`);
    outline.setAttribute("stroke-width", unit * 0.35);
    // on a phone their names would cover each other: the chosen one's and those not used are told, the list has all
    const named = img.clientWidth > 600 || chosen?.id === m.id || m.state !== "used";
    const text = document.createElementNS(NS, "text");
    text.setAttribute("x", corners[1][0] + unit * 0.5); text.setAttribute("y", corners[1][1]);
    text.setAttribute("font-size", Math.max(unit * 2, 13 * screen())); text.textContent = !named ? "" : m.state === "used" ? m.title : `${m.title} (${m.state})`;
    svg.append(outline, text);
    if (chosen?.id === m.id) corners.forEach((p, k) => handle(p, k, unit));
  }
}

const middleOf = (corners) => [0, 1].map((i) => corners.reduce((s, c) => s + c[i], 0) / 4);
// photo pixels to one pixel of the screen
const screen = () => photo.size[0] / (img.clientWidth || 1000);

// a knob stands off its corner, so that a finger does not cover what it moves, and is as large as a finger on any screen
function handle(p, k, unit) {
  const middle = middleOf(moved ?? chosen.corners);
  const away = Math.hypot(p[0] - middle[0], p[1] - middle[1]) || 1;
  const at = [0, 1].map((i) => p[i] + (p[i] - middle[i]) / away * Math.max(unit * 4, 36 * screen()));
  const lead = document.createElementNS(NS, "line");
  lead.setAttribute("x1", p[0]); lead.setAttribute("y1", p[1]); lead.setAttribute("x2", at[0]); lead.setAttribute("y2", at[1]); lead.setAttribute("class", "lead");
  const knob = document.createElementNS(NS, "circle");
  knob.setAttribute("cx", at[0]); knob.setAttribute("cy", at[1]); knob.setAttribute("r", 22 * screen()); knob.setAttribute("class", "knob");
  const dot = knob.cloneNode();
  dot.setAttribute("r", 9 * screen()); dot.setAttribute("stroke-width", 2 * screen()); dot.setAttribute("class", "knob-dot");
  knob.addEventListener("pointerdown", (event) => {
    event.preventDefault();
    event.stopPropagation();
    svg.setPointerCapture(event.pointerId);
    moved ??= chosen.corners.map((c) => [...c]);
    const from = place(event), was = [...moved[k]];
    const move = (e) => { const now = place(e); moved[k] = [was[0] + now[0] - from[0], was[1] + now[1] - from[1]]; glass(e, moved[k]); draw(); };
    const up = (e) => {
      for (const name of ["pointerup", "pointercancel"]) removeEventListener(name, up);
      removeEventListener("pointermove", move);
      placed = e.timeStamp;
      loupe.hidden = true;
      by("keep").hidden = false;
    };
    addEventListener("pointermove", move);
    for (const name of ["pointerup", "pointercancel"]) addEventListener(name, up);
  });
  svg.append(lead, dot, knob);
}

function place(event) {
  const box = img.getBoundingClientRect();
  return [(event.clientX - box.left) / box.width * photo.size[0], (event.clientY - box.top) / box.height * photo.size[1]];
}

function glass(event, at) {
  const context = loupe.getContext("2d"), from = sharp?.complete && sharp.naturalWidth ? sharp : img;
  const scale = from.naturalWidth / photo.size[0], half = photo.size[0] / 50 * scale;
  context.imageSmoothingEnabled = false;
  context.fillRect(0, 0, 220, 220);
  context.drawImage(from, at[0] * scale - half, at[1] * scale - half, 2 * half, 2 * half, 0, 0, 220, 220);
  context.strokeStyle = "#fff"; context.lineWidth = 5; context.beginPath(); context.moveTo(110, 80); context.lineTo(110, 140); context.moveTo(80, 110); context.lineTo(140, 110); context.stroke();
  context.strokeStyle = "#000"; context.lineWidth = 2; context.stroke();
  loupe.hidden = false;
  const box = stage.getBoundingClientRect();
  loupe.style.left = event.clientX - box.left < box.width / 2 ? "auto" : "8px";
  loupe.style.right = event.clientX - box.left < box.width / 2 ? "8px" : "auto";
}

function choose(marker) {
  if (adding) return;
  chosen = marker; moved = null;
  by("chosen").hidden = false;
  by("chosen-title").textContent = `${marker.title} (${marker.id}), ${marker.state}`;
  by("role").value = marker.role;
  by("dismiss").hidden = marker.state === "dismissed";
  by("restore").hidden = marker.state !== "dismissed" && marker.state !== "placed";
  by("keep").hidden = true;
  draw();
}

function shown(next) {
  photo = next;
  // its place is known before it is loaded
  [img.width, img.height] = photo.size;
  chosen = chosen && photo.markers.find((m) => m.id === chosen.id);
  moved = null;
  by("markers").replaceChildren(...photo.markers.map((m) => {
    const item = document.createElement("li"), button = document.createElement("button");
    button.type = "button"; button.textContent = `${m.title} (${m.id}): ${m.state}`; button.dataset.id = m.id;
    button.addEventListener("click", () => { choose(m); stage.scrollIntoView({ block: "nearest" }); });
    item.append(button);
    return item;
  }));
  by("markers").append(...photo.dots.map((d) => {
    const item = document.createElement("li"), button = document.createElement("button");
    button.type = "button"; button.textContent = `${d.title}: dot. Take it out`;
    button.addEventListener("click", () => change({ what: "no-dot", role: d.role }));
    item.append(button);
    return item;
  }));
  by("notes").replaceChildren(...photo.findings.map((f) => {
    const item = document.createElement("li");
    item.textContent = `${f.level === "note" ? "•" : "▲"} ${f.what}${f.do ? `. Do: ${f.do}` : ""}`;
    return item;
  }));
  if (chosen) choose(chosen); else by("chosen").hidden = true;
  draw();
}

const change = (body) => post(`/api/markers/${api}`, body).then(shown).catch(say);
by("dismiss").addEventListener("click", () => change({ id: chosen.id, what: "dismiss" }));
by("restore").addEventListener("click", () => change({ id: chosen.id, what: chosen.state === "placed" ? "forget" : "restore" }));
by("keep").addEventListener("click", () => change({ id: chosen.id, what: "place", corners: moved }));
by("set-role").addEventListener("click", () => change({ id: chosen.id, what: "role", role: by("role").value, everywhere: by("everywhere").checked }));
function adds(on) {
  adding = on;
  by("add").setAttribute("aria-pressed", on);
  stage.classList.toggle("adding", on);
  loupe.hidden = true;
  if (on && !sharp) { sharp = new Image(); sharp.src = img.src.replace("/middle/", "/large/"); }
  if (on) stage.scrollIntoView({ block: "nearest" });
}
by("add").addEventListener("click", () => adds(!adding));
// a tap takes the nearest marker: on a phone they are smaller than a finger
stage.addEventListener("click", (event) => {
  if (adding || !photo || event.timeStamp - placed < 500) return;
  const at = place(event), far = (m) => Math.hypot(...[0, 1].map((i) => middleOf(m.corners)[i] - at[i]));
  const near = [...photo.markers].sort((a, b) => far(a) - far(b))[0];
  if (near && far(near) < Math.max(28 * screen(), Math.hypot(...[0, 1].map((i) => near.corners[0][i] - near.corners[2][i])) / 2)) choose(near);
});
addEventListener("keydown", (event) => { if (event.key === "Escape") adds(false); });
// the loupe follows the finger or the mouse; lifting it places the marker
for (const name of ["pointerdown", "pointermove"]) stage.addEventListener(name, (event) => { if (adding && photo) glass(event, place(event)); });
stage.addEventListener("pointercancel", () => { loupe.hidden = true; });
stage.addEventListener("pointerup", async (event) => {
  if (!adding || !photo) return;
  const at = place(event);
  adds(false);
  placed = event.timeStamp;
  const role = by("missed").value, dot = by("kind").value === "dot";
  try {
    const found = await post(`/api/under/${api}`, { role, dot, at });
    await change(dot ? { what: "dot", role, at: found.at, sigma: found.sigma } : { id: found.id, what: "place", corners: found.corners });
    if (dot) say({ what: found.refined ? "the dot's middle was found under the tap" : "no round dot shows there: it stands where you tapped" });
    else say({ what: found.refined ? "found under the tap and aligned" : "placed where you tapped: its pattern does not show, drag its corners if need be" });
  } catch (error) { say(error); }
});

try { shown(await ask(`/api/photos/${api}`)); } catch (error) { say(error); }
