// The corner drawn from the side and from the front: at ride height, and thinner at droop and at the bump stop.
const NS = "http://www.w3.org/2000/svg";
const PARTS = [["control arm", "pivot", "arm_ball_joint", "lower"], ["link", "link_foot", "bar_eye", "rod"], ["bar arm", "bar_bush", "bar_eye", "arm"]];
const STANDS = [["droop", "thin"], ["ride height", "thick"], ["bump stop", "thin"]];

function make(parent, tag, cls) {
  const node = document.createElementNS(NS, tag);
  if (cls) node.setAttribute("class", cls);
  parent.append(node);
  return node;
}

class View {
  constructor(holder, across, sign, title) {
    Object.assign(this, { across, sign });
    const figure = document.createElement("figure"), caption = document.createElement("figcaption");
    caption.textContent = title;
    this.svg = document.createElementNS(NS, "svg");
    this.svg.setAttribute("class", "corner-view");
    this.svg.setAttribute("role", "img");
    this.svg.setAttribute("aria-label", `The corner ${title}: bar arm, link and control arm at droop, ride height and bump stop`);
    figure.append(this.svg, caption);
    holder.append(figure);
    this.lines = [0, 2, 1].flatMap((k) => {
      const group = make(this.svg, "g", STANDS[k][1]);
      const hose = ["hose_a", "hose_b", "hose_c"].slice(1).map((to, i) => ({ k, from: ["hose_a", "hose_b"][i], to, nodes: [make(group, "line", "part hose")] }));
      // a dark edge under each part: its colour alone is too pale on white paper
      return [...hose, ...PARTS.map(([, from, to, cls]) => ({ k, from, to, nodes: [make(group, "line", "part edge"), make(group, "line", `part ${cls}`)] }))];
    });
    this.joints = ["bar_bush", "bar_eye", "link_foot", "arm_ball_joint"].map((name) => [name, make(this.svg, "circle")]);
    this.words = [...PARTS.map(([words, from, to]) => ({ words, from, to, k: 1 })), { words: "hose", from: "hose_b", to: "hose_a", k: 1 }].map((w) => ({ ...w, node: make(this.svg, "text") }));
    for (const { node, words } of this.words) node.textContent = words;
  }

  flat(point) { return point && point[this.across] !== null ? [this.sign * point[this.across], -point[2]] : null; }

  // the window stays while the sliders move, so that only the parts do
  fit(stands) {
    const points = stands.flatMap((places) => Object.values(places)).map((p) => this.flat(p)).filter(Boolean);
    const xs = points.map((p) => p[0]), ys = points.map((p) => p[1]);
    const box = [Math.min(...xs), Math.min(...ys), Math.max(...xs), Math.max(...ys)], wide = Math.max(box[2] - box[0], box[3] - box[1]);
    const room = 0.07 * wide;
    this.svg.setAttribute("viewBox", `${box[0] - room} ${box[1] - room} ${box[2] - box[0] + 2 * room} ${box[3] - box[1] + 2 * room}`);
    this.unit = wide / 100;
    this.svg.style.setProperty("--unit", this.unit);
  }

  draw(stands) {
    const at = stands.map((places) => {
      const both = ["arm_pivot_front", "arm_pivot_rear"].map((n) => places[n]).filter(Boolean);
      return { ...places, pivot: both.length ? [0, 1, 2].map((i) => both.reduce((s, p) => s + p[i], 0) / both.length) : null };
    });
    for (const { k, from, to, nodes } of this.lines) {
      const a = this.flat(at[k][from]), b = this.flat(at[k][to]);
      for (const node of nodes) {
        node.style.display = a && b ? "" : "none";
        if (a && b) ["x1", "y1", "x2", "y2"].forEach((name, i) => node.setAttribute(name, [...a, ...b][i].toFixed(1)));
      }
    }
    for (const [name, node] of this.joints) {
      const p = this.flat(at[1][name]);
      node.style.display = p ? "" : "none";
      if (p) for (const [n, v] of [["cx", p[0]], ["cy", p[1]], ["r", 1.6 * this.unit]]) node.setAttribute(n, v.toFixed(1));
    }
    for (const { k, from, to, node } of this.words) {
      const a = this.flat(at[k][from]), b = this.flat(at[k][to]);
      node.style.display = a && b ? "" : "none";
      if (!a || !b) continue;
      const along = [b[0] - a[0], b[1] - a[1]], steep = Math.abs(along[1]) > Math.abs(along[0]);
      node.setAttribute("x", ((a[0] + b[0]) / 2 + (steep ? 3.5 * this.unit : 0)).toFixed(1));
      node.setAttribute("y", ((a[1] + b[1]) / 2 - (steep ? 0 : 3.5 * this.unit)).toFixed(1));
      node.setAttribute("text-anchor", steep ? "start" : "middle");
    }
  }
}

// views into an element; corner: its name.  fit(cells) once, draw(places) as often as wanted
export function makeViews(holder, corner) {
  const side = corner.endsWith("left") ? -1 : 1;
  const views = [new View(holder, 0, side, "from the side"), new View(holder, 1, 1, "from the front")];
  const other = document.createElement("button");
  other.type = "button";
  other.className = "other-side";
  const named = () => { other.textContent = holder.dataset.view === "front" ? "side" : "front"; other.setAttribute("aria-label", `Draw it from the ${other.textContent}`); };
  other.addEventListener("click", () => { holder.dataset.view = holder.dataset.view === "front" ? "side" : "front"; named(); });
  holder.dataset.view = "side";
  named();
  holder.append(other);
  return {
    fit: (cells) => { const stands = cells.flatMap((c) => c.places ?? []); if (stands.length) for (const v of views) v.fit(stands); },
    draw: (places) => { holder.classList.toggle("open", !places); if (places) for (const v of views) v.draw(places); },
  };
}
