// Markers put right by hand: tapped, dragged, dismissed, renamed, added under a loupe.
import { ask, post, say } from "./common.js";

const by = (id) => document.getElementById(id);
const stage = by("stage"), svg = by("overlay"), img = by("photo"), loupe = by("loupe");
const api = stage.dataset.api;
let photo = null, chosen = null, adding = false, moved = null;
const NS = "http://www.w3.org/2000/svg";

function draw() {
  const [w, h] = photo.size;
  svg.setAttribute("viewBox", `0 0 ${w} ${h}`);
  svg.replaceChildren();
  const unit = w / 100;
  for (const m of photo.markers) {
    const corners = chosen?.id === m.id && moved ? moved : m.corners;
    const outline = document.createElementNS(NS, "polygon");
    outline.setAttribute("points", corners.map((p) => p.join(",")).join(" "));
    outline.setAttribute("class", `marker ${m.state}${chosen?.id === m.id ? " chosen" : ""}`);
    outline.setAttribute("stroke-width", unit * 0.35);
    outline.addEventListener("click", () => choose(m));
    const text = document.createElementNS(NS, "text");
    text.setAttribute("x", corners[1][0] + unit * 0.5); text.setAttribute("y", corners[1][1]);
    text.setAttribute("font-size", unit * 2); text.textContent = m.state === "used" ? m.title : `${m.title} (${m.state})`;
    svg.append(outline, text);
    if (chosen?.id === m.id) corners.forEach((p, k) => handle(p, k, unit));
  }
}

// a knob stands off its corner, so that a finger does not cover what it moves
function handle(p, k, unit) {
  const corners = moved ?? chosen.corners;
  const middle = [0, 1].map((i) => corners.reduce((s, c) => s + c[i], 0) / 4);
  const away = Math.hypot(p[0] - middle[0], p[1] - middle[1]) || 1;
  const at = [0, 1].map((i) => p[i] + (p[i] - middle[i]) / away * unit * 4);
  const lead = document.createElementNS(NS, "line");
  lead.setAttribute("x1", p[0]); lead.setAttribute("y1", p[1]); lead.setAttribute("x2", at[0]); lead.setAttribute("y2", at[1]); lead.setAttribute("class", "lead");
  const knob = document.createElementNS(NS, "circle");
  knob.setAttribute("cx", at[0]); knob.setAttribute("cy", at[1]); knob.setAttribute("r", unit * 1.5); knob.setAttribute("class", "knob");
  knob.addEventListener("pointerdown", (event) => {
    event.preventDefault();
    moved ??= chosen.corners.map((c) => [...c]);
    const from = place(event), was = [...moved[k]];
    const move = (e) => { const now = place(e); moved[k] = [was[0] + now[0] - from[0], was[1] + now[1] - from[1]]; glass(e, moved[k]); draw(); };
    const up = () => { removeEventListener("pointermove", move); loupe.hidden = true; by("keep").hidden = false; };
    addEventListener("pointermove", move);
    addEventListener("pointerup", up, { once: true });
  });
  svg.append(lead, knob);
}

function place(event) {
  const box = img.getBoundingClientRect();
  return [(event.clientX - box.left) / box.width * photo.size[0], (event.clientY - box.top) / box.height * photo.size[1]];
}

function glass(event, at) {
  const context = loupe.getContext("2d"), scale = img.naturalWidth / photo.size[0], half = 28;
  context.imageSmoothingEnabled = false;
  context.fillRect(0, 0, 220, 220);
  context.drawImage(img, at[0] * scale - half, at[1] * scale - half, 2 * half, 2 * half, 0, 0, 220, 220);
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
  chosen = chosen && photo.markers.find((m) => m.id === chosen.id);
  moved = null;
  by("markers").replaceChildren(...photo.markers.map((m) => {
    const item = document.createElement("li"), button = document.createElement("button");
    button.type = "button"; button.textContent = `${m.title} (${m.id}): ${m.state}`; button.dataset.id = m.id;
    button.addEventListener("click", () => choose(m));
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
by("add").addEventListener("click", () => {
  adding = !adding;
  by("add").setAttribute("aria-pressed", adding);
  stage.classList.toggle("adding", adding);
});
stage.addEventListener("pointermove", (event) => { if (adding && photo) glass(event, place(event)); });
stage.addEventListener("click", async (event) => {
  if (!adding || !photo) return;
  const index = by("missed").selectedIndex, at = place(event);
  adding = false; by("add").setAttribute("aria-pressed", "false"); stage.classList.remove("adding"); loupe.hidden = true;
  try {
    // the large set's number of a role is its place in the list
    const found = await post(`/api/under/${api}`, { id: 100 + index, at });
    await change({ id: 100 + index, what: "place", corners: found.corners });
    say({ what: found.refined ? "found under the tap and aligned" : "placed where you tapped: its pattern does not show, drag its corners if need be" });
  } catch (error) { say(error); }
});

try { shown(await ask(`/api/photos/${api}`)); } catch (error) { say(error); }
