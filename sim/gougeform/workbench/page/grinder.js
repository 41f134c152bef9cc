// The grinder from the side, for both tools in one scale, with the distances as a person would measure them.
import { el, svg, path, number } from "./make.js";
import { ask } from "./asks.js";

export class GrinderSheet {
  constructor(place, bench) {
    this.bench = bench;
    this.got = {};
    this.number = 0;
    this.cells = {};
    this.pick = el("select", {
      id: "which-grind",
      "aria-label": "Which grind",
      onchange: () => {
        this
          .number = Number(this.pick.value);
        this.draw();
      }
    });
    this.picker = el("div", { class: "under" }, el("label", {}, "set up for", this.pick));
    const pair = el("div", { class: "pair" });
    for (const which of ["a", "b"]) {
      const drawn = el("div", { class: "drawn" }),
        sizes = el("ul", { class: "sizes", "aria-label": `Distances of tool ${which.toUpperCase()}` });
      this.cells[which] = { drawn, sizes };
      pair.append(el("div", {}, drawn, sizes));
    }
    place.replaceChildren(this.picker, pair);
    this.watch = new ResizeObserver(() => this.draw());
    for (const which of ["a", "b"]) this.watch.observe(this.cells[which].drawn);
  }

  close() { this.watch.disconnect(); }

  async show({ tools, recipes }) {
    for (const which of ["a", "b"]) {
      if (this.got[which]?.key === tools[which].key) continue;
      const found = await this.bench.quietly(() => ask("grinder", { recipe: recipes[which] }, which));
      if (found) {
        this.got[which] = { views: found, key: tools[which].key };
        this.draw();
      }
    }
  }

  draw() {
    const there = ["a", "b"].filter((w) => this.got[w]);
    if (there.length < 2) return;
    const most = Math.max(...there.map((w) => this.got[w].views.length));
    this.picker.hidden = most < 2;
    if (this.pick.options.length !== most) this.pick.replaceChildren(...Array.from({ length: most }, (_,
      i) => el("option", { value: i }, i === 0 ? "the first bevel" : i === 1 ? "the relief" :
      `relief ${i}`)));
    this.number = Math.min(this.number, most - 1);
    this.pick.value = this.number;
    const views = Object.fromEntries(there.map((w) => [w, this.got[w].views[this.number]]));
    const box = there.map((w) => views[w]).filter(Boolean).map(extent);
    if (!box.length) return;
    const low = [0, 1].map((i) => Math.min(...box.map((b) => b[0][i]))),
      high = [0, 1].map((i) => Math.max(...box.map((b) => b[1][i])));
    for (const w of there) this.one(w, views[w], low, high);
  }

  one(which, view, low, high) {
    const { drawn, sizes } = this.cells[which], w = drawn.clientWidth, h = drawn.clientHeight;
    if (!view) {
      drawn.replaceChildren(el("p", {}, `Tool ${which.toUpperCase()} has no such grind.`));
      sizes.replaceChildren();
      return;
    }
    if (w < 60 || h < 60) return;
    const k = Math.min((w - 16) / (high[0] - low[0]), (h - 16) / (high[1] - low[1]));
    const at = (p) => [w / 2 + (p[0] - (low[0] + high[0]) / 2) * k, h / 2 - (p[1] - (low[1] + high[1]) /
      2) * k];
    const made = svg(
      "svg", { role: "img", "aria-label": `The grinder from the side with tool ${which.toUpperCase()}` });
    if (view.wheel) {
      const [cx, cy] = at([0, 0]);
      made.append(svg("circle", { class: "wheel", cx, cy, r: view.wheel.radius * k }), svg(
        "path", { class: "axis", d: `M${cx - 6} ${cy}h12M${cx} ${cy - 6}v12` }));
    } else made.append(svg("path", {
      class: "wheel",
      d: path([
        [-8, low[1]],
        [0, low[1]],
        [0, high[1]],
        [-8, high[1]]
      ].map(at), true)
    }));
    if (view.support) made.append(svg("path", { class: "clamp", d: path(view.support.map(at), true) }));
    made.append(svg("path", { class: "clamp", d: path(view.clamp.map(at), true) }), svg(
      "path", { class: "steel", d: path(view.tool.map(at), true) }), svg("path", {
      class: "thin",
      d: path(
        view.floor.map(at))
    }));
    for (const line of view.jig) made.append(svg("path", { class: "jig", d: path(line.map(at)) }));
    if (view.pivot) {
      const [cx, cy] = at(view.pivot);
      made.append(svg("circle", { class: "pivot", cx, cy, r: Math.max(5, view.thick_mm * k) }));
    }
    view.sizes.forEach((size, i) => {
      const p = at(size.from),
        q = at(size.to);
      made.append(svg("path", {
        class: "size",
        d: `M${p}L${q}`,
        "stroke-dasharray": i > 1 ? "6 4" : null
      }));
      const mid = [(p[0] + q[0]) / 2, (p[1] + q[1]) / 2];
      made.append(svg("circle", { cx: mid[0], cy: mid[1], r: 9, class: "pivot" }), svg("text", {
        x: mid[
          0],
        y: mid[1] + 5,
        "text-anchor": "middle"
      }, String(i + 1)));
    });
    const [nx, ny] = at(view.nose);
    made.append(svg("circle", { class: which, cx: nx, cy: ny, r: 4, fill: "none", "stroke-width": 3 }), svg(
      "text", { x: 6, y: 18, class: `of-${which}` }, `Tool ${which.toUpperCase()}`));
    drawn.replaceChildren(made);
    const words = view.sizes.map((size, i) => el("li", {}, `${i + 1}  ${size.name} `, el("b", {},
      `${number(size.value_mm, 1)} mm`)));
    if (view.contact_deg !== null && view.contact_deg !== undefined) words.push(el("li", {}, "contact ", el(
      "b", {}, `${number(view.contact_deg, 1)}°`), " up the wheel"));
    if (view.height_mm !== undefined && view.height_mm !== null) words.push(el("li", {},
      "pivot above centre ", el("b", {}, `${number(view.height_mm, 1)} mm`)));
    if (view.nose_angle_deg) words.push(el("li", {}, "table tilted for ", el("b", {},
      `${number(view.nose_angle_deg, 1)}°`)));
    sizes.replaceChildren(...words);
  }
}

function extent(view) {
  const points = [...view.tool, ...view.clamp, view.nose, ...view.jig.flat()];
  if (view.pivot) points.push(view.pivot);
  if (view.support) points.push(...view.support);
  if (view.wheel) {
    const r = view.wheel.radius;
    points.push([r * 0.2, view.nose[1] + 0.22 * r], [-r * 0.05, -8], [r, 0]);
  } else points.push([-14, 20]);
  return [
    [0, 1].map((i) => Math.min(...points.map((p) => p[i])) - 8), [0, 1].map((i) => Math.max(...points.map((
      p) => p[i])) + 8)
  ];
}
