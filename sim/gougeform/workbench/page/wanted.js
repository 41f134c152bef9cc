// The other direction: ask for an edge and let the settings move; relief, other wheel or jig, what a regrind costs.
import { el, number, typed } from "./make.js";
import { job } from "./asks.js";
import { told } from "./told.js";

const WANTS = [["nose", "nose", "°"], ["wing25", "wing at 25 %", "°"], ["wing50", "wing at 50 %", "°"], ["wing75", "wing at 75 %", "°"], ["wing_length", "wing length", "mm"]];
const FREE = [["distance", "distance"], ["projection", "projection"], ["cant", "cant"], ["tilt", "tilt"], ["arm_length", "arm length"], ["fullness", "fullness"], ["shoulder", "shoulder"], ["roll", "roll"]];

export class AskSheet {
  constructor(place, bench) {
    this.bench = bench;
    this.tool = el("select", { id: "ask-tool", onchange: () => this.fill() }, el("option", { value: "a" }, "tool A"), el("option", { value: "b" }, "tool B"));
    this.fields = {};
    this.bads = {};
    this.outs = {};
    const field = (form, name, label, unit) => {
      const id = `${form}-${name}`, input = el("input", { type: "text", inputmode: "decimal", id, autocomplete: "off", "aria-describedby": `${id}-bad`, onkeydown: (event) => { if (event.key === "Enter") document.getElementById(`${form}-go`).click(); } });
      const bad = el("span", { class: "field-bad", id: `${id}-bad` });
      this.fields[id] = input;
      this.bads[id] = bad;
      return el("label", { for: id }, `${label}, ${unit}`, input, bad);
    };
    const button = (form, words, act) => el("button", { class: "main", id: `${form}-go`, onclick: act }, words);
    const out = (form) => (this.outs[form] = el("div", { role: "status", id: `${form}-out` }));
    const pick = (id, label, table) => { this.fields[id] = el("select", { id }, el("option", { value: "" }, "the same"), ...bench.fixed.library[table].map((one) => el("option", { value: one.name }, one.title))); return el("label", {}, label, this.fields[id]); };
    this.free = el("fieldset", {}, el("legend", {}, "may move (none ticked: as many as are needed)"), ...FREE.map(([name, words]) => el("label", { class: "tick", "data-name": name }, el("input", { type: "checkbox", value: name }), words)));
    place.replaceChildren(
      el("div", { class: "form" }, el("label", {}, "for", this.tool), ...WANTS.map((w) => field("solve", ...w)), button("solve", "Solve", () => this.solve())),
      el("div", { class: "form" }, this.free), out("solve"),
      el("hr", { class: "rule" }), el("h3", {}, "A relief from two of its three numbers"),
      el("div", { class: "form" }, field("relief", "land_mm", "land left", "mm"), field("relief", "move", "move to wheel", "mm"), field("relief", "angle_deg", "relief angle", "°"), button("relief", "Find the third", () => this.relief())), out("relief"),
      el("hr", { class: "rule" }), el("h3", {}, "The same edge on another wheel or jig"),
      el("div", { class: "form" }, pick("transfer-wheel", "wheel", "wheel"), pick("transfer-jig", "jig", "jig"), button("transfer", "Carry over", () => this.transfer())), out("transfer"),
      el("hr", { class: "rule" }), el("h3", {}, "What a regrind costs"),
      el("div", { class: "form" }, button("regrind", "From B's shape to A's", () => this.regrind("a")), el("button", { class: "main", onclick: () => this.regrind("b") }, "From A's shape to B's")), out("regrind"));
  }

  close() { this.running?.stop(); }

  show() {
    if (!this.filled) this.fill();
    const kinds = this.bench.all.recipes[this.tool.value].jig.kind;
    for (const tick of this.free.querySelectorAll("label")) tick.hidden = (tick.dataset.name === "tilt") !== (kinds === "table") && ["tilt", "distance", "cant"].includes(tick.dataset.name) || (tick.dataset.name === "arm_length" && kinds !== "foot");
  }

  fill() {
    this.filled = true;
    const now = this.bench.all.tools[this.tool.value].numbers;
    this.fields["solve-nose"].value = number(now.nose_angle_deg, 1);
    this.fields["solve-wing50"].value = number(now["wing_angle_deg.50"], 1);
  }

  get recipe() { return this.bench.all.recipes[this.tool.value]; }

  values(form, names) {
    const out = {};
    for (const name of names) { const value = this.fields[`${form}-${name}`].value; if (value.trim()) out[name] = typed(value); }
    return out;
  }

  async run(form, what, then) {
    for (const [id, bad] of Object.entries(this.bads)) if (id.startsWith(form + "-")) { bad.textContent = ""; this.fields[id].removeAttribute("aria-invalid"); }
    this.running?.stop();
    const bar = el("i"), said = el("span", {}, "Working …"), mine = job(form, what, (share, words) => { bar.style.width = `${100 * share}%`; if (words) said.textContent = words[0].toUpperCase() + words.slice(1) + " …"; });
    this.running = mine;
    this.outs[form].replaceChildren(el("div", { class: "answer busy" }, said, el("div", { class: "bar-of" }, bar), el("button", { onclick: () => mine.stop() }, "Stop")));
    try {
      const answer = await mine.answer;
      this.outs[form].replaceChildren(...then(answer));
    } catch (error) {
      if (error.name === "AbortError") { this.outs[form].replaceChildren(el("p", {}, "Stopped.")); return; }
      this.mark(form, error.field, error.words || String(error), error);
    }
  }

  mark(form, field, words) {
    const bad = this.bads[`${form}-${field}`];
    if (bad) { bad.textContent = words; this.fields[`${form}-${field}`].setAttribute("aria-invalid", "true"); }
    this.outs[form].replaceChildren(...(bad ? [] : [el("p", { class: "answer bad", role: "alert" }, words)]));
  }

  adopt(recipe, words, id) { const tool = this.tool.value; return el("button", { id, onclick: () => this.bench.act([{ do: "adopt", tool, recipe }]) }, words); }

  solve() {
    const free = [...this.free.querySelectorAll("input:checked")].filter((box) => !box.parentElement.hidden).map((box) => box.value), tool = this.tool.value;
    return this.run("solve", { recipe: this.recipe, wants: this.values("solve", WANTS.map((w) => w[0])), free }, (got) => {
      const best = got.solutions.find((one) => !one.exact.problem);
      for (const one of got.unmet) { const bad = this.bads[`solve-${one.want}`]; if (bad) { bad.textContent = one.text + "."; this.fields[`solve-${one.want}`].setAttribute("aria-invalid", "true"); } }
      if (best) this.bench.act([{ do: "adopt", tool, recipe: best.exact.recipe }]);
      const head = got.exact ? (got.family ? "More may move than is needed: this is the solution nearest to what was set." : got.solutions.length === 1 ? "One exact solution." : `${got.solutions.length} exact solutions, the nearest first.`) : "Not all can be met; the nearest was set.";
      return [el("div", { class: "answer" }, el("div", {}, head), ...got.solutions.map((one, i) => this.solution(one, i)))];
    });
  }

  solution(one, i) {
    const words = (found) => found.settings.map((s) => `${s.name} ${number(s.value, s.unit ? 2 : 3)}${s.unit === "°" ? "°" : s.unit ? " mm" : ""}`).join(", ");
    const miss = Object.entries(one.ruler.misses).map(([name, value]) => `${name} off by ${number(value, 2)}`).join(", ");
    return el("ul", {},
      el("li", {}, `As solved: ${words(one.exact)}. `, one.exact.problem ? `Cannot be ground: ${one.exact.problem}.` : this.adopt(one.exact.recipe, i ? "Set this" : "Set again", `solve-exact-${i}`)),
      el("li", {}, `With a ruler: ${words(one.ruler)}. `, one.ruler.problem ? `Cannot be ground: ${one.ruler.problem}.` : el("span", {}, miss ? `${miss}. ` : "", this.adopt(one.ruler.recipe, "Set this", `solve-ruler-${i}`))));
  }

  relief() {
    return this.run("relief", { recipe: this.recipe, ...this.values("relief", ["land_mm", "move", "angle_deg"]) }, (got) => ["exact", "ruler"].map((kind) => {
      const r = got[kind], move = r.unit === "°" ? `tilt flatter by ${number(r.move, 2)}°` : `move toward the wheel by ${number(r.move, 2)} mm`;
      return el("div", { class: "answer" }, `${kind === "exact" ? "As asked" : "With a ruler"}: ${move}, land ${number(r.land_mm, 2)} mm, the relief begins with ${number(r.angle_deg, 2)}°, ${number(r.falls_away_deg, 2)}° off the land. `, this.adopt(r.recipe, "Set this", `relief-${kind}`));
    }));
  }

  transfer() {
    return this.run("transfer", { recipe: this.recipe, wheel: this.fields["transfer-wheel"].value, jig: this.fields["transfer-jig"].value }, (got) => [el("div", { class: "answer" }, this.adopt(got.recipe, "Set this", "transfer-set"), ...told(got.answer))]);
  }

  regrind(to) {
    const from = to === "a" ? "b" : "a", { recipes } = this.bench.all;
    return this.run("regrind", { recipe: recipes[to], older: recipes[from] }, (got) => [el("div", { class: "answer" }, `Grinding ${from.toUpperCase()}'s shape to ${to.toUpperCase()}'s takes ${number(got.nose_loss_mm, 2)} mm off the nose and ${number(got.steel_removed_mm3, 1)} mm³ (${number(got.steel_removed_g, 2)} g) of steel; from a square-ended blank it takes ${number(got.from_blank_mm3, 1)} mm³.`)]);
  }
}
