// The workpiece in the plane through the lathe's axis: A reaches into the upper half, B into the lower, each place
// coloured by the clearance angle it needs, and the tool standing at the chosen place.
import { el, svg, path, number } from "./make.js";
import { ask, job } from "./asks.js";

const CLASSES = [
  ["good", 2.5, "up to 2.5°"],
  ["fair", 6, "to 6°"],
  ["poor", 10, "to 10°"]
];

function kind(alpha, limit) {
  if (alpha === null || alpha > limit) return "none";
  return CLASSES.find(([, most]) => alpha <= most + 1e-9)?.[0] || "poor";
}
const kept = {
  a: null,
  b: null
}; // what was worked out last, so that looking at another sheet does not lose it

export class ReachSheet {
  constructor(place, bench) {
    this.bench = bench;
    this.jobs = {};
    this.stands = {};
    this.at = 0;
    this.work = el("select", {
        id: "work",
        onchange: () => {
          this.bench.look({ work: this.work.value });
          this.profile();
        }
      }, el("option", { value: "" }, "choose a workpiece …"), ...bench.fixed.works
      .map((one) => el("option", { value: one.name }, one.title)));
    this.feed = el("select", { id: "feed", onchange: () => this.draw() }, el("option", { value: "best" },
      "whichever is better"), el("option", { value: "0" }, "along the profile"), el(
      "option", { value: "1" }, "against it"));
    this.go = el("button", { class: "main", id: "reach-go", onclick: () => this.run() },
      "Work out the reach");
    this.state = el("div", { class: "busy", role: "status", id: "reach-state" });
    this.drawn = el("div", { class: "drawn" });
    this.slide = el("input", {
      type: "range",
      id: "reach-place",
      min: 0,
      max: 1,
      step: 1,
      value: 0,
      oninput: () => {
        this.at = Number(this.slide.value);
        this.stand();
        this.draw();
      }
    });
    this.read = el("output", { class: "read", for: "reach-place" });
    const key = el("div", { class: "spectrum", "aria-label": "Clearance angle needed" },
      "clearance angle needed: ", ...CLASSES.map(([name, , words]) => el("span", { class: name }, el("i"),
        words)), el("span", { class: "none" }, el("i"), "more, or never clear"));
    place.replaceChildren(el("div", { class: "form" }, el("label", {}, "workpiece", this.work), el(
      "label", {}, "direction of cut", this.feed), this.go, this.state), this.drawn, key, el(
      "div", { class: "under" }, el("label", {}, "stand at place", this.slide), this.read));
    this.watch = new ResizeObserver(() => this.draw());
    this.watch.observe(this.drawn);
  }

  close() {
    this.watch.disconnect();
    this.stop();
  }
  stop() {
    for (const one of Object.values(this.jobs)) one.stop();
    this.jobs = {};
  }

  show(all) {
    this.all = all;
    if (!this.work.value && all.bench.view.work) {
      this.work.value = all.bench.view.work;
      this.profile();
    }
    this.state_();
    this.draw();
  }

  fresh(which) {
    const one = kept[which];
    return one && one.work === this.work.value && one.key === this.all
      .tools[which].key ? one : null;
  }

  state_() {
    if (Object.keys(this.jobs).length) return;
    const old = ["a", "b"].filter((w) => kept[w] && kept[w].work === this.work.value && kept[w].key !== this
      .all.tools[w].key);
    this.state.replaceChildren(old.length ?
      `Tool ${old.join(" and ").toUpperCase()} has changed since: work it out again.` : "");
  }

  async profile() {
    this.outline = null;
    if (!this.work.value) return this.draw();
    const name = this.work.value,
      got = await this.bench.quietly(() => ask("work", { work: name }));
    if (got && name === this.work.value) {
      this.outline = got;
      this.state_();
      this.draw();
    }
  }

  async run() {
    if (!this.work.value) {
      this.state.replaceChildren("Choose a workpiece first.");
      this.work.focus();
      return;
    }
    this.stop();
    this.stands = {};
    const bars = {},
      work = this.work.value,
      same = this.all.tools.a.key === this.all.tools.b.key;
    this.state.replaceChildren(...["a", "b"].map((w) => el("span", {}, w.toUpperCase() + " ")).flatMap((one,
      i) => {
      bars["ab" [i]] = el("i");
      return [one, el("div", { class: "bar-of" }, bars["ab" [
        i
      ]])];
    }), el("button", { onclick: () => this.stop() }, "Stop"));
    const one = async (w) => {
      const mine = { work, key: this.all.tools[w].key, places: [], limit: 10 };
      kept[w] = mine;
      const running = job("reach", { recipe: this.all.recipes[w], work }, (share, words, whole) => {
        bars[w].style.width = `${100 * share}%`;
        if (whole.places) {
          mine.places.push(...whole.places);
          mine.count = whole.count;
          if (w === "a" && same) kept.b = mine;
          this.draw();
        }
      });
      this.jobs[w] = running;
      try {
        const end = await running.answer;
        mine.done = true;
        mine.limit = end.limit_deg;
        bars[w].style.width = "100%";
        return "";
      } catch (error) {
        return error.name === "AbortError" ? "Stopped." : error.words || String(error);
      } finally {
        delete this.jobs[w];
        this.draw();
      }
    };
    const said = [];
    for (const w of same ? ["a"] : ["a", "b"]) {
      const words = await one(w);
      if (words) {
        said.push(
          words);
        break;
      }
    }
    this.state.replaceChildren(said.length ? said.join(" ") : "Done.");
    document.body.dataset.reach = said.length ? "no" : "yes";
    this.stand();
  }

  choice(row) {
    const f = this.feed.value;
    if (f !== "best") return row.feeds[Number(f)];
    const [p, q] = row.feeds;
    return (q.alpha_deg ?? 1e9) < (p.alpha_deg ?? 1e9) ? q : p;
  }

  async stand() {
    const at = this.at;
    for (const w of ["a", "b"]) {
      const row = this.fresh(w)?.places[at];
      if (!row) continue;
      const stand = this.choice(row).stand,
        name = JSON.stringify(stand) + this.all.tools[w].key;
      if (this.stands[w]?.name === name) continue;
      const got = await this.bench.quietly(() => ask("stand", {
        recipe: this.all.recipes[w],
        work: this.work
          .value,
        stand
      }, w));
      if (got && at === this.at) {
        this.stands[w] = { ...got, name };
        this.draw();
      }
    }
  }

  draw() {
    const w = this.drawn.clientWidth,
      h = this.drawn.clientHeight;
    if (w < 60 || h < 60) return;
    if (!this.outline) {
      this.drawn.replaceChildren(el("p", {},
        "Choose a workpiece to see where each tool reaches."));
      return;
    }
    const points = this.outline.outline,
      low = Math.min(...points.map((p) => p[0])),
      high = Math.max(...points.map((p) => p[0])),
      most = Math.max(...points.map((p) => p[1]));
    const k = Math.min((w - 70) / (high - low), (h - 16) / (2 * most + 2 * Math.min(30, most * 0.8)));
    const at = (side) => (p) => [w / 2 + (p[0] - (low + high) / 2) * k, h / 2 - side * p[1] * k];
    const made = svg(
      "svg", { role: "img", "aria-label": "The workpiece along the lathe's axis: A in the upper half, B in the lower" }
    );
    for (const side of [1, -1]) made.append(svg("path", {
      class: "wood",
      d: path(points.map(at(side)),
        true)
    }));
    made.append(svg("line", { class: "thin", x1: 0, x2: w, y1: h / 2, y2: h / 2 }));
    let longest = 1;
    const words = [];
    for (const [which, side] of [
        ["a", 1],
        ["b", -1]
      ]) {
      const own = at(side),
        got = this.fresh(which);
      const stand = this.stands[which],
        row = got?.places[this.at];
      if (row && stand && stand.name === JSON.stringify(this.choice(row).stand) + this.all.tools[which]
        .key) {
        made.append(svg("path", {
          class: "stand",
          d: stand.patches.map((p) => path(oneWay(p).map((i) => own(
            [p[i], p[i + 1]])), true)).join("")
        }));
      }
      made.append(svg("path", { class: `line ${which}`, "stroke-width": 1.5, d: path(points.map(own)) }),
        svg("text", { x: 8, y: h / 2 - side * (h / 2 - 22) + 6 }, `Tool ${which.toUpperCase()}`));
      if (!got) continue;
      longest = Math.max(longest, got.places.length);
      for (let i = 0; i < got.places.length; i++) {
        const p = got.places[i],
          alpha = this.choice(p).alpha_deg,
          near = [got.places[i - 1], got.places[i + 1]].map((q) => (q && Math.hypot(q.x_mm - p.x_mm, q
            .rho_mm - p.rho_mm) < 14 ? [(q.x_mm + p.x_mm) / 2, (q.rho_mm + p.rho_mm) / 2] : [p.x_mm, p
            .rho_mm
          ]));
        made.append(svg("path", {
          class: `reached reach-${kind(alpha, got.limit)}`,
          d: path([near[0],
            [p.x_mm, p.rho_mm], near[1]
          ].map(own))
        }));
      }
      if (row) {
        const best = this.choice(row),
          [cx, cy] = own([row.x_mm, row.rho_mm]);
        made.append(svg("circle", { class: "pivot", cx, cy, r: 5 }));
        const side_ = Math.abs(best.edge_mm) < 0.05 ? "the nose" :
          `${number(Math.abs(best.edge_mm), 1)} mm along the ${best.edge_mm < 0 ? "left" : "right"} wing`;
        const stopped = best.stopped_by === "nothing" ? "" : `, stopped by the ${best.stopped_by}`;
        const hangs = best.overhang_mm === null ? "" : `, overhang ${number(best.overhang_mm, 0)} mm`;
        words.push(el("b", { class: which }, `${which.toUpperCase()} `), best.alpha_deg === null ?
          `is never clear here (${best.stopped_by}). ` :
          `needs ${number(best.alpha_deg, 1)}° with ${side_}${stopped}${hangs}. `
        );
      }
      const reached = got.places.filter((p) => kind(this.choice(p).alpha_deg, got.limit) !== "none").length;
      words.push(
        `${which.toUpperCase()}: ${reached} of ${got.places.length} places reached ` +
        `with at most ${number(got.limit, 0)}°. `
      );
    }
    this.slide.max = longest - 1;
    this.drawn.replaceChildren(made);
    this.read.replaceChildren(...words);
  }
}

// All patches walked in one sense: where two lie over each other they must not cancel out.
function oneWay(p) {
  const area = [0, 2, 4, 6].reduce((sum, i) => {
    const j = (i + 2) % 8;
    return sum + p[i] * p[j + 1] - p[j] *
      p[i + 1];
  }, 0);
  return area < 0 ? [6, 4, 2, 0] : [0, 2, 4, 6];
}
