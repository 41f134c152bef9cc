// The other direction: ask for an edge and let the settings move; relief, other wheel or jig, what a regrind costs.
import { el, number, typed } from "./make.js";
import { job } from "./asks.js";
import { told } from "./told.js";

export class AskSheet {
  constructor(place, bench) {
    this.bench = bench;
    this.tool = el("select", { id: "ask-tool", onchange: () => this.fill() }, el("option", { value: "a" },
      "tool A"), el("option", { value: "b" }, "tool B"));
    this.fields = {};
    this.bads = {};
    this.outs = {};
    const field = (form, name, label, unit) => {
      const id = `${form}-${name}`,
        input = el("input", {
          type: "text",
          inputmode: "decimal",
          id,
          autocomplete: "off",
          "aria-describedby": `${id}-bad`,
          onkeydown: (event) => {
            if (event.key ===
              "Enter") document.getElementById(`${form}-go`).click();
          }
        });
      const bad = el("span", { class: "field-bad", id: `${id}-bad` });
      this.fields[id] = input;
      this.bads[id] = bad;
      return el("label", { for: id }, `${label}, ${unit}`, input, bad);
    };
    const button = (form, words, act) => el("button", { class: "main", id: `${form}-go`, onclick: act },
      words);
    const out = (form) => (this.outs[form] = el("div", { role: "status", id: `${form}-out` }));
    const pick = (id, label, table) => {
      this.fields[id] = el("select", { id }, el("option", { value: "" },
        "the same"), ...bench.fixed.library[table].map((one) => el("option", { value: one.name }, one
        .title)));
      return el("label", {}, label, this.fields[id]);
    };
    this.free = el("fieldset", {}, el("legend", {}, "may move (none ticked: as many as are needed)"),
      ...bench.fixed.free.map(([name, words]) => el("label", { class: "tick", "data-name": name }, el(
        "input", { type: "checkbox", value: name }), words)));
    this.works = el("fieldset", { id: "choose-works" }, el("legend", {}, "workpieces it is to reach"), ...
      bench.fixed.works
      .map((one) => el("label", { class: "tick" }, el("input", { type: "checkbox", value: one.name }), one
        .title)));
    place.replaceChildren(
      el("div", { class: "form" }, el("label", {}, "for", this.tool), ...bench.fixed.wants.map((w) =>
        field("solve", ...w)), button("solve", "Solve", () => this.solve())),
      el("div", { class: "form" }, this.free), out("solve"),
      el("hr", { class: "rule" }), el("h3", {}, "A relief from two of its three numbers"),
      el("div", { class: "form" }, field("relief", "land_mm", "land left", "mm"), field("relief", "move",
        "move to wheel", "mm"), field("relief", "angle_deg", "relief angle", "°"), button("relief",
        "Find the third", () => this.relief())), out("relief"),
      el("hr", { class: "rule" }), el("h3", {}, "The same edge on another wheel or jig"),
      el("div", { class: "form" }, pick("transfer-wheel", "wheel", "wheel"), pick("transfer-jig", "jig",
        "jig"), button("transfer", "Carry over", () => this.transfer())), out("transfer"),
      el("hr", { class: "rule" }), el("h3", {}, "What a regrind costs"),
      el("div", { class: "form" }, button("regrind", "From B's shape to A's", () => this.regrind("a")),
        el("button", { class: "main", onclick: () => this.regrind("b") }, "From A's shape to B's")), out(
        "regrind"),
      el("hr", { class: "rule" }), el("h3", {}, "Which tool for this work, on this jig and wheel"),
      el("div", { class: "form" }, this.works, button("choose", "Look for tools", () => this.choose())),
      out("choose"));
  }

  close() { this.running?.stop(); }

  show() {
    if (!this.filled) this.fill();
    const has = this.bench.all.tools[this.tool.value].free;
    for (const tick of this.free.querySelectorAll("label")) tick.hidden = !has.includes(tick.dataset.name);
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
    for (const name of names) {
      const value = this.fields[`${form}-${name}`].value;
      if (value.trim()) out[
        name] = typed(value);
    }
    return out;
  }

  async run(form, what, then) {
    for (const [id, bad] of Object.entries(this.bads))
      if (id.startsWith(form + "-")) {
        bad.textContent = "";
        this.fields[id].removeAttribute("aria-invalid");
      }
    this.running?.stop();
    const bar = el("i"),
      said = el("span", {}, "Working …"),
      mine = job(form, what, (share, words) => {
        bar.style.width = `${100 * share}%`;
        if (words) said
          .textContent = words[0].toUpperCase() + words.slice(1) + " …";
      });
    this.running = mine;
    this.outs[form].replaceChildren(el("div", { class: "answer busy" }, said, el("div", { class: "bar-of" },
      bar), el("button", { onclick: () => mine.stop() }, "Stop")));
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
    if (bad) {
      bad.textContent = words;
      this.fields[`${form}-${field}`].setAttribute("aria-invalid", "true");
    }
    this.outs[form].replaceChildren(...(bad ? [] : [el("p", { class: "answer bad", role: "alert" },
      words)]));
  }

  adopt(recipe, words, id) {
    const tool = this.tool.value;
    return el("button", {
      id,
      onclick: () => this.bench
        .act([{ do: "adopt", tool, recipe }])
    }, words);
  }

  solve() {
    const free = [...this.free.querySelectorAll("input:checked")].filter((box) => !box.parentElement.hidden)
      .map((box) => box.value),
      tool = this.tool.value;
    return this.run("solve", {
      recipe: this.recipe,
      wants: this.values("solve", this.bench.fixed.wants.map((w) => w[0])),
      free
    }, (got) => {
      for (const one of got.unmet) {
        const bad = this.bads[`solve-${one.want}`];
        if (!bad) continue;
        bad.textContent = one.text + ".";
        this.fields[`solve-${one.want}`].setAttribute("aria-invalid", "true");
      }
      const best = got.solutions.find((one) => one.ruler);
      if (best) this.bench.act([{ do: "adopt", tool, recipe: best.ruler }]);
      const many = got.solutions.length > 1;
      const buttons = got.solutions.flatMap((one, i) => this.both(one, `solve`, many ? ` (${i + 1})` :
        "", `-${i}`));
      return [el("div", { class: "answer" }, ...buttons, ...told(got.answer))];
    });
  }

  both(one, form, which, end) {
    return [
        ["ruler", `Set the ruler's${which}`],
        ["exact", `Set it exactly${which}`]
      ]
      .filter(([kind]) => one[kind])
      .map(([kind, words]) => this.adopt(one[kind], words, `${form}-${kind}${end}`));
  }

  relief() {
    const what = { recipe: this.recipe, ...this.values("relief", ["land_mm", "move", "angle_deg"]) };
    const answer = (got) => [el("div", { class: "answer" }, ...this.both(got, "relief", "", ""), ...told(got
      .answer))];
    return this.run("relief", what, answer);
  }

  transfer() {
    return this.run("transfer", {
      recipe: this.recipe,
      wheel: this.fields["transfer-wheel"].value,
      jig: this
        .fields["transfer-jig"].value
    }, (got) => [el("div", { class: "answer" }, this.adopt(got.recipe,
      "Set this", "transfer-set"), ...told(got.answer))]);
  }

  regrind(to) {
    const from = to === "a" ? "b" : "a",
      { recipes } = this.bench.all;
    const what = { recipe: recipes[to], older: recipes[from] };
    return this.run("regrind", what, (got) => [el("div", { class: "answer" }, ...told(got.answer))]);
  }

  choose() {
    const works = [...this.works.querySelectorAll("input:checked")].map((box) => box.value);
    return this.run("choose", { recipe: this.recipe, works }, (got) => {
      const buttons = got.recipes.map((recipe, i) => this.adopt(recipe,
        `Set ${"ABCDEFGH"[i]} on the bench`, `choose-set-${i}`));
      return [el("div", { class: "answer" }, ...buttons, ...told(got.answer))];
    });
  }
}
