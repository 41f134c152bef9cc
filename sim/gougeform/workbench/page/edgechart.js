// The wedge angle along the edge of both tools, with a place along the edge that can be moved and read off.
import { el, svg, path, steps, number } from "./make.js";

export class EdgeSheet {
  constructor(place) {
    this.at = 0;
    this.drawn = el("div", { class: "drawn" });
    this.slide = el("input", {
      type: "range",
      id: "probe",
      min: -1,
      max: 1,
      step: 0.005,
      value: 0,
      oninput: () => {
        this.at = Number(this.slide.value);
        this.probe();
      }
    });
    this.read = el("output", { class: "read", for: "probe" });
    place.replaceChildren(this.drawn, el("div", { class: "under" }, el("label", {}, "place on the edge",
      this.slide), this.read));
    this.watch = new ResizeObserver(() => this.draw());
    this.watch.observe(this.drawn);
    this.drawn.addEventListener("pointermove", (event) => this.point(event));
    this.drawn.addEventListener("pointerdown", (event) => this.point(event));
  }

  close() { this.watch.disconnect(); }

  show({ tools }) {
    this.edges = { a: tools.a.edge, b: tools.b.edge };
    this.draw();
  }

  point(event) {
    if (!this.span) return;
    const box = this.drawn.getBoundingClientRect(),
      s = this.span.low + ((event.clientX - box.left - this.span.left) / this.span.wide) * (this.span.high -
        this.span.low);
    this.at = Math.max(-1, Math.min(1, s / this.span.high));
    this.slide.value = this.at;
    this.probe();
  }

  draw() {
    if (!this.edges) return;
    const w = this.drawn.clientWidth,
      h = this.drawn.clientHeight;
    if (w < 60 || h < 60) return;
    const left = 50,
      right = 14,
      top = 26,
      foot = 40;
    const every = ["a", "b"].map((k) => this.edges[k]);
    const half = Math.max(...every.flatMap((e) => [Math.abs(e.s_mm[0]), e.s_mm[e.s_mm.length - 1]]));
    const values = every.flatMap((e) => e.wedge_deg.filter((v) => v !== null));
    const spread = Math.max(...values) - Math.min(...values),
      pad = Math.max(1, spread * 0.08);
    const low = Math.min(...values) - pad,
      high = Math.max(...values) + pad;
    const wide = w - left - right,
      tall = h - top - foot;
    this.span = { left, wide, low: -half, high: half };
    const x = (s) => left + ((s + half) / (2 * half)) * wide,
      y = (v) => top + ((high - v) / (high - low)) * tall;
    const made = svg(
      "svg", { role: "img", "aria-label": "Edge angle in degrees, from the left lip through the nose to the right lip" }
    );
    const ys = steps(low, high, tall / 40),
      xs = steps(-half, half, wide / 70);
    for (const v of ys.values) made.append(svg("line", {
      class: "grid",
      x1: left,
      x2: w - right,
      y1: y(v),
      y2: y(v)
    }), label(left - 6, y(v) + 5, v.toFixed(ys.digits) + "°", "end"));
    for (const s of xs.values) made.append(svg("line", {
      class: "grid",
      x1: x(s),
      x2: x(s),
      y1: top,
      y2: h -
        foot
    }), label(x(s), h - foot + 17, String(Number(Math.abs(s).toFixed(xs.digits))), "middle"));
    made.append(svg("line", { class: "axis", x1: x(0), x2: x(0), y1: top, y2: h - foot }));
    made.append(label(x(-half) + 2, h - 6, "left wing", "start", "quiet"), label(x(0), h - 6, wide > 420 ?
      "mm along the edge from the nose" : "mm from the nose", "middle", "quiet"), label(x(half), h - 6,
      "right wing", "end", "quiet"));
    made.append(label(left, 16, "wedge angle", "start", "quiet"));
    for (const k of ["a", "b"]) {
      const e = this.edges[k];
      made.append(svg("path", {
        class: `line ${k}`,
        d: path(e.s_mm.map((s, i) => [x(s), y(e.wedge_deg[i])])
          .filter((p) => Number.isFinite(p[1])))
      }));
    }
    made.append(svg("line", { class: "line a", x1: w - 150, x2: w - 118, y1: 12, y2: 12 }), label(w - 112,
      17, "A"), svg("line", { class: "line b", x1: w - 82, x2: w - 46, y1: 12, y2: 12 }), label(w - 40,
      17, "B"));
    this.mark = svg("line", { class: "probe", y1: top, y2: h - foot });
    made.append(this.mark);
    this.x = x;
    this.drawn.replaceChildren(made);
    this.probe();
  }

  probe() {
    if (!this.span) return;
    const s = this.at * this.span.high;
    this.mark.setAttribute("x1", this.x(s));
    this.mark.setAttribute("x2", this.x(s));
    const side = Math.abs(s) < 0.005 ? "at the nose" :
      `${number(Math.abs(s), 1)} mm along the ${s < 0 ? "left" : "right"} wing`;
    const parts = ["a", "b"].map((k) => {
      const e = this.edges[k],
        v = between(e.s_mm, e.wedge_deg, s),
        c = between(e.s_mm, e.bevel_mm, s);
      return el("b", { class: k }, ` ${k.toUpperCase()} ${number(v, 2)}°`, c === null ? "" :
        `, bevel ${number(c, 1)} mm `);
    });
    this.read.replaceChildren(side + ":", ...parts);
    this.slide.setAttribute("aria-valuetext", this.read.textContent);
  }
}

function label(x, y, text, anchor = "start", kind = "") {
  return svg("text", {
    x,
    y,
    "text-anchor": anchor,
    class: kind
  }, text);
}

export function between(xs, ys, x) {
  if (x < xs[0] - 1e-9 || x > xs[xs.length - 1] + 1e-9) return null;
  let lo = 0,
    hi = xs.length - 1;
  while (hi - lo > 1) {
    const mid = (lo + hi) >> 1;
    if (xs[mid] <= x) lo = mid;
    else hi = mid;
  }
  if (ys[lo] === null || ys[hi] === null) return null;
  const t = (x - xs[lo]) / (xs[hi] - xs[lo] || 1);
  return ys[lo] + t * (ys[hi] - ys[lo]);
}
