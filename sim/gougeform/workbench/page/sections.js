// Sections of both tools at a distance behind the nose.
import { el, svg, path, number, difference, typed } from "./make.js";
import { ask } from "./asks.js";

export class SectionSheet {
  constructor(place, bench) {
    this.bench = bench;
    this.drawn = el("div", { class: "drawn" });
    this.text = el("input", {
      type: "text",
      inputmode: "decimal",
      id: "behind",
      size: 5,
      "aria-label": "Distance behind the nose, mm",
      "aria-describedby": "behind-bad",
      onchange: () => this.turn(typed(this.text.value))
    });
    this.slide = el("input", {
      type: "range",
      id: "behind-slide",
      min: 0,
      max: 30,
      step: 0.1,
      "aria-label": "Distance behind the nose, slider",
      oninput: () => {
        this.text.value = this
          .slide.value;
        this.turn(Number(this.slide.value));
      }
    });
    this.read = el("output", { class: "read" });
    this.bad = el("span", { class: "bad-words", id: "behind-bad" });
    place.replaceChildren(this.drawn, el("div", { class: "under" }, el("label", {}, "back from nose", this
      .slide, this.text, "mm"), this.read, this.bad));
    this.watch = new ResizeObserver(() => this.draw());
    this.watch.observe(this.drawn);
    this.got = {};
  }

  close() { this.watch.disconnect(); }

  turn(value) {
    if (typeof value !== "number" || !(value >= 0 && value <= 200)) {
      this.bad.textContent =
        "Allowed is a number from 0 to 200 mm.";
      return;
    }
    this.bad.textContent = "";
    this.behind = value;
    this.bench.look({ section_mm: value });
    this.fetch();
  }

  show(all) {
    this.tools = all.tools;
    this.recipes = all.recipes;
    if (this.behind === undefined) {
      this.behind = all.bench.view.section_mm;
      this.text.value = this.behind;
      this.slide.value = this.behind;
    }
    this.fetch();
  }

  async fetch() {
    if (this.fetching) { this.again = true; return; }
    this.fetching = true;
    do {
      this.again = false;
      await this.both(this.behind);
    } while (this.again);
    this.fetching = false;
  }

  async both(behind) {
    for (const which of ["a", "b"]) {
      const key = this.tools[which].key + "@" + behind;
      if (this.got[which]?.key === key) continue;
      const found = await this.bench.quietly(() => ask("cross", {
        recipe: this.recipes[which],
        behind_mm: behind
      }, which));
      if (found) {
        this.got[which] = { ...found, key };
        this.draw();
      }
    }
  }

  draw() {
    const { a, b } = this.got, w = this.drawn.clientWidth, h = this.drawn.clientHeight;
    if (!a || !b || w < 60 || h < 60) return;
    const points = [...a.bar, ...b.bar],
      xs = points.map((p) => Math.abs(p[0])),
      ys = points.map((p) => p[1]);
    const wide = 2 * Math.max(...xs),
      low = Math.min(...ys),
      high = Math.max(...ys);
    const k = Math.min((w - 30) / wide, (h - 30) / (high - low)),
      at = (p) => [w / 2 + p[0] * k, h / 2 + ((high + low) / 2 - p[1]) * k];
    const made = svg(
      "svg", { role: "img", "aria-label": `Sections ${number(this.behind, 1)} mm behind the nose: A filled, B dashed` }
    );
    made.append(svg("path", { class: "thin", d: path(a.bar.map(at), true) }));
    for (const loop of a.steel) made.append(svg("path", { class: "fill-a", d: path(loop.map(at), true) }));
    if (b.bar.some((p, i) => Math.abs(p[0] - (a.bar[i]?.[0] ?? 1e9)) > 1e-6)) made.append(svg(
      "path", { class: "thin", d: path(b.bar.map(at), true) }));
    for (const loop of b.steel) made.append(svg("path", { class: "fill-b", d: path(loop.map(at), true) }));
    const bar = Math.max(1, Math.round(wide / 6)),
      x0 = 14,
      y0 = h - 14;
    made.append(svg("path", {
      class: "axis",
      fill: "none",
      d: `M${x0} ${y0 - 5}V${y0}H${x0 + bar * k}V${y0 - 5}`
    }), svg("text", { x: x0 + 4, y: y0 - 8 },
      `${bar} mm`));
    this.drawn.replaceChildren(made);
    const broad = (words, key) => el("span", {}, `${words}: `, el("b", { class: "a" },
        `A ${number(a[key], 2)}`), " · ", el("b", { class: "b" }, `B ${number(b[key], 2)}`),
      ` mm · B − A ${difference(b[key] - a[key], 2)} mm`);
    this.read.replaceChildren(broad("cheek width", "cheek_width_mm"), " ", broad("edge width",
      "edge_width_mm"), " ", broad("cheek past the edge", "cheek_past_edge_mm"));
  }
}
