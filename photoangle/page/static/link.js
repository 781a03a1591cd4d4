// The link tried out.  While the thumb moves, the travel that the program worked out beforehand is gone through here; where it
// rests, the program answers in full, as its command does.
import { ask } from "./common.js";
import { makeViews } from "./corner_view.js";
import { GRAVER, cellAt, graver } from "./link_mix.js";

const REST_MS = 400;
const INCH = 25.4;

function angleWords({ value, half }) {
  const digits = half >= 0.05 ? 1 : 2, shown = value.toFixed(digits).replace(/^-(0\.?0*)$/, "$1");
  if (Math.abs(value) <= half) return `${half <= 1 ? "level, " : ""}${value >= 0 || !shown.startsWith("-") ? "+" : ""}${shown}° ± ${half.toFixed(digits)}`;
  return `${Math.abs(value).toFixed(digits)}° ${value > 0 ? "up" : "down"} ± ${half.toFixed(digits)}`;
}

class Tried {
  constructor(root, head) {
    Object.assign(this, { root, head, rows: new Map(), ticket: 0, frame: null, rest: null, inFull: null });
    this.find = (selector) => root.querySelector(selector);
    this.change = this.find(".change");
    this.lowered = this.find(".lowered");
    this.views = makeViews(this.find(".views"), root.dataset.corner);
    const { stops, heights_mm: heights } = head;
    this.change.max = stops.length - 1;
    this.change.value = head.advised;
    this.lowered.max = heights.at(-1);
    this.lowered.step = head.units === "in" ? INCH / 16 : 1;
    this.find(".ends").textContent = `${stops[0].length} to ${stops.at(-1).length}`;
    for (const slider of [this.change, this.lowered]) slider.addEventListener("input", () => this.moved());
    this.find(".advised").addEventListener("click", () => this.to(head.advised, this.lowered.value));
    this.find(".none").addEventListener("click", () => this.to(head.present, 0));
  }

  to(stop, lowered) {
    this.change.value = stop;
    this.lowered.value = lowered;
    this.moved();
  }

  // one ride height after the other: the present one at once, the rest while the thumb is at work
  async load() {
    const corner = this.root.dataset.corner;
    for (const height of this.head.heights_mm) {
      const got = await ask(`/api/link/${corner}/row?lowered=${height}`);
      if (got.number !== this.head.number) return;
      this.rows.set(height, got.cells);
      if (!this.rows.has(this.head.heights_mm[1] ?? 0) || this.rows.size === 1) {
        this.views.fit(got.cells);
        this.change.disabled = false;
        this.moved();
      }
    }
    this.lowered.disabled = this.head.heights_mm.length < 2;
    this.root.dataset.ready = "all";
  }

  get stop() { return this.head.stops[Number(this.change.value)]; }

  moved() {
    this.ticket += 1;
    this.inFull = null;
    this.root.dataset.rest = "";
    clearTimeout(this.rest);
    this.rest = setTimeout(() => this.full(), REST_MS);
    this.frame ??= requestAnimationFrame(() => { this.frame = null; this.show(); });
  }

  cell() {
    const { heights_mm: heights, changes_mm: changes } = this.head;
    return cellAt(heights.map((h) => this.rows.get(h)), heights, changes, Number(this.lowered.value), this.stop.change_mm);
  }

  async full() {
    const mine = this.ticket, corner = this.root.dataset.corner, said = this.find(".full");
    said.textContent = "≈ by few samples; being worked out in full…";
    try {
      const got = await ask(`/api/link/${corner}/full?change=${this.stop.change_mm}&lowered=${Number(this.lowered.value).toFixed(3)}`);
      if (mine !== this.ticket || got.number !== this.head.number) return;
      this.inFull = got;
      said.textContent = `In full: ${got.sentence} ${got.clearance}`;
      this.show();
      this.root.dataset.rest = "full";
    } catch (error) {
      if (mine === this.ticket && error.status !== 409) said.textContent = `≈ by few samples. ${error.do ? `${error.what}: ${error.do}` : error.message}.`;
    }
  }

  length(mm, digits = 0) {
    return this.head.units === "in" ? `${(mm / INCH).toFixed(digits + 1)} in` : `${mm.toFixed(digits)} mm`;
  }

  show() {
    const { stop } = this, cell = this.cell();
    this.find(".now .length").textContent = stop.length;
    this.find(".how").textContent = stop.how + (stop.beyond ? `: ${stop.beyond}` : "");
    this.change.setAttribute("aria-valuetext", `${stop.length}, ${stop.how}`);
    this.find(".lowered-said").textContent = this.length(Number(this.lowered.value), this.head.units === "in" ? 1 : 0);
    this.lowered.setAttribute("aria-valuetext", this.find(".lowered-said").textContent);
    const got = this.inFull ?? cell;
    if (!got) return;
    if (cell) this.views.draw(cell.places);
    this.said(got);
    this.table(got.rows);
    this.root.dataset.shown = Number(this.root.dataset.shown ?? 0) + 1;
  }

  // as wanted and clear of everything: a disc; not: an octagon; not to be told: a diamond
  said({ angle, rows, trouble }) {
    const wanted = this.head.wanted;
    let place = "cannot tell", words = "The link does not close.";
    if (angle) {
      const low = angle.value - angle.half, high = angle.value + angle.half;
      place = wanted.square ? "" : wanted.low <= low && high <= wanted.high ? "clear" : high < wanted.low || low > wanted.high ? "not clear" : "cannot tell";
      words = `Bar arm ${angleWords(angle)}: ${{ "": "at ride height", clear: "as wanted", "not clear": "NOT as wanted", "cannot tell": "whether as wanted can't be told" }[place]}`;
    }
    this.find(".angle").textContent = words.replace(" ± ", " ±\u00a0");
    const grave = (r) => GRAVER.indexOf(r.is) * 1e6 - (r.name.startsWith("gap") ? r.lowest : 1e5);
    const worst = rows.length ? rows.reduce((a, b) => (grave(b) > grave(a) ? b : a)) : null;
    this.find(".worst").textContent = trouble || (worst ? this.worst(worst) : "Nothing is known of the hose.");
    const all = trouble ? "not clear" : [place, worst?.is ?? ""].reduce(graver);
    this.find("#said-now").className = `verdict ${{ "": "unsure", clear: "clear", "cannot tell": "unsure", "not clear": "none" }[all]}`;
  }

  worst(row) {
    const at = `${this.length(Math.abs(row.at_mm))} ${row.at_mm > 0 ? "up" : "down"} from ride height`;
    const words = this.head.words[row.name], name = words[0].toUpperCase() + words.slice(1);
    const so = { clear: "", "": "", "cannot tell": ", can't tell", "not clear": row.name.startsWith("gap") ? ", IT TOUCHES" : ", TOO FAR" }[row.is];
    if (!row.name.startsWith("gap")) return `${name} ${row.value.toFixed(0)}°${so} (${at})`;
    return row.is === "clear" ? `${name}: ${this.length(row.lowest)} at least (${at})` : `${name}: ${this.length(row.value)} ± ${this.length(row.half)}${so} (${at})`;
  }

  table(rows) {
    const gap = (r) => r.name.startsWith("gap"), text = (r, v) => (gap(r) ? this.length(v, 1) : `${v.toFixed(1)}°`);
    const so = (r) => ({ "": "", clear: gap(r) ? "clear" : "good", "cannot tell": "can't tell", "not clear": gap(r) ? "TOUCHES" : "TOO FAR" }[r.is]);
    document.getElementById("over-travel").replaceChildren(...rows.map((r) => {
      const row = document.createElement("tr");
      row.dataset.name = r.name;
      for (const [tag, words, cls] of [["th", this.head.words[r.name]], ["td", `${text(r, r.value)} ± ${text(r, r.half)}`, "n"], ["td", `${r.at_mm >= 0 ? "+" : "−"}${this.length(Math.abs(r.at_mm))}`, "n"], ["td", so(r)]]) {
        const cell = document.createElement(tag);
        cell.textContent = words;
        if (cls) cell.className = cls;
        row.append(cell);
      }
      return row;
    }));
  }
}

for (const root of document.querySelectorAll(".try")) {
  try {
    const head = await ask(`/api/link/${root.dataset.corner}`);
    if (head.number !== Number(document.getElementById("main").dataset.answer)) location.reload();
    else await new Tried(root, head).load();
  } catch (error) {
    root.querySelector(".angle").textContent = error.do ? `${error.what}: ${error.do}` : error.message;
  }
}
