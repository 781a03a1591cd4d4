// Sliders for length and ride height: the drawn corner and the clearances move along; the full answer comes when they rest.
import { ask, say } from "./common.js";

const NS = "http://www.w3.org/2000/svg";
const PARTS = [["bar arm", "bar_bush", "bar_eye", "arm"], ["link", "link_foot", "bar_eye", "rod"], ["control arm", "pivot", "arm_ball_joint", "lower"]];

function line(svg, a, b, cls) {
  const l = document.createElementNS(NS, "line");
  l.setAttribute("x1", a[0]); l.setAttribute("y1", a[1]); l.setAttribute("x2", b[0]); l.setAttribute("y2", b[1]); l.setAttribute("class", cls);
  svg.append(l);
}
function words(svg, at, text) {
  const t = document.createElementNS(NS, "text");
  t.setAttribute("x", at[0]); t.setAttribute("y", at[1]); t.textContent = text;
  svg.append(t);
}

function view(places, across, sign, box) {
  const svg = document.createElementNS(NS, "svg");
  const [x0, y0, x1, y1] = box;
  svg.setAttribute("viewBox", `${x0} ${y0} ${x1 - x0} ${y1 - y0}`);
  svg.setAttribute("class", "corner-view");
  svg.setAttribute("aria-hidden", "true");
  words(svg, [x0 + 4, y0 + 18], across ? "from the front" : "from the side");
  svg.lastChild.setAttribute("class", "from");
  const flat = (p) => (p && p[across] !== null ? [sign * p[across], -p[2]] : null);
  const both = ["arm_pivot_front", "arm_pivot_rear"].map((n) => places[n]).filter(Boolean);
  const all = { ...places, pivot: both.length ? [0, 1, 2].map((k) => both.reduce((s, p) => s + p[k], 0) / both.length) : null };
  for (const [name, from, to, cls] of PARTS) {
    const a = flat(all[from]), b = flat(all[to]);
    if (!a || !b) continue;
    line(svg, a, b, `part ${cls}`);
    words(svg, [(a[0] + b[0]) / 2 + 6, (a[1] + b[1]) / 2 - 6], name);
  }
  const hose = ["hose_a", "hose_b", "hose_c"].map((n) => flat(all[n])).filter(Boolean);
  hose.slice(1).forEach((p, k) => line(svg, hose[k], p, "part hose"));
  if (hose.length) words(svg, [hose[0][0] + 6, hose[0][1] - 6], "hose");
  for (const n of ["bar_bush", "hub", "arm_ball_joint"]) {
    const p = flat(all[n]);
    if (!p) continue;
    const c = document.createElementNS(NS, "circle");
    c.setAttribute("cx", p[0]); c.setAttribute("cy", p[1]); c.setAttribute("r", 5);
    svg.append(c);
  }
  return svg;
}

function setUp(root) {
  const corner = root.dataset.corner, change = root.querySelector(".change"), lowered = root.querySelector(".lowered");
  const side = corner.endsWith("left") ? -1 : 1;
  let advised = 0, ticket = 0, rest = null, boxes = null;

  async function quick() {
    const mine = ++ticket;
    root.querySelector(".change-said").textContent = Number(change.value).toFixed(1);
    root.querySelector(".lowered-said").textContent = lowered.value;
    clearTimeout(rest);
    rest = setTimeout(full, 700);
    try {
      const got = await ask(`/api/link/${corner}?change=${change.value}&lowered=${lowered.value}`);
      if (mine !== ticket) return;
      advised = got.advised_mm ?? 0;
      show(got);
    } catch (error) { say(error); }
  }

  async function full() {
    const mine = ticket, p = root.querySelector(".full");
    p.textContent = "being worked out in full…";
    try {
      const got = await ask(`/api/link/${corner}/full?change=${change.value}&lowered=${lowered.value}`);
      if (mine !== ticket) return;
      p.textContent = `In full: ${got.sentence}.`;
      table(got);
    } catch (error) { p.textContent = error.message; }
  }

  function show(got) {
    const angle = got.angle ? `bar arm ${got.angle.value >= 0 ? "+" : ""}${got.angle.value.toFixed(1)} ± ${got.angle.half.toFixed(1)}° at ride height` : "the link does not close";
    root.querySelector(".tried").textContent = `Link ${got.length_mm.toFixed(1)} mm: ${angle}.${got.trouble ? " ✖ " + got.trouble : ""}`;
    const names = ["droop", "ride height", "bump stop"];
    const extent = (across, sign) => {
      const points = names.flatMap((n) => Object.entries(got.places[n])).filter(([n, p]) => n !== "arch_lip" && p && p[across] !== null).map(([, p]) => p).map((p) => [sign * p[across], -p[2]]);
      const xs = points.map((p) => p[0]), ys = points.map((p) => p[1]);
      return [Math.min(...xs) - 30, Math.min(...ys) - 30, Math.max(...xs) + 90, Math.max(...ys) + 30];
    };
    // the window stays while the sliders move, so that only the parts do
    boxes ??= [extent(0, side), extent(1, 1)];
    root.querySelector(".views").replaceChildren(...names.map((n) => {
      const figure = document.createElement("figure");
      const caption = document.createElement("figcaption");
      caption.textContent = n;
      figure.append(caption, view(got.places[n], 0, side, boxes[0]), view(got.places[n], 1, 1, boxes[1]));
      return figure;
    }));
    table(got);
  }

  function table(got) {
    root.querySelector(".clear").replaceChildren(...got.rows.map((r) => {
      const row = document.createElement("tr");
      row.dataset.name = r.name;
      for (const [tag, text, cls] of [["th", r.words], ["td", `${r.value.toFixed(1)} ± ${r.half.toFixed(1)} ${r.unit}`, "n"], ["td", `${r.at_mm >= 0 ? "+" : ""}${r.at_mm.toFixed(0)} mm`, "n"], ["td", r.verdict]]) {
        const cell = document.createElement(tag);
        cell.textContent = text;
        if (cls) cell.className = cls;
        row.append(cell);
      }
      return row;
    }));
  }

  change.addEventListener("input", quick);
  lowered.addEventListener("input", quick);
  root.querySelector(".advised").addEventListener("click", () => { change.value = advised; quick(); });
  root.querySelector(".none").addEventListener("click", () => { change.value = 0; lowered.value = 0; quick(); });
  quick();
}

for (const root of document.querySelectorAll(".try")) setUp(root);
