// One tool's column: library choices, sliders with typed values that stay in step, and what is wrong beside its field.
import { el, number, typed } from "./make.js";
import { sentence } from "./asks.js";

const ORDER = ["grind.0", "grind.1", "grind.2", "grind.3", "jig", "wheel", "bar", "flute"];
const OPEN = new Set(["grind.0", "jig"]);

export class Knobs {
  constructor(place, which, fixed, act) {
    Object.assign(this, { place, which, fixed, act, rows: new Map(), shape: "" });
    this.open = new Set(OPEN);
  }

  show(tool) {
    const groups = [...tool.knobs].sort((p, q) => rank(p.section) - rank(q.section));
    const shape = JSON.stringify(groups.map((g) => [g.section, g.knobs.map((k) => k.field), g.choices.map((
      c) => c.field), g.removable]));
    if (shape !== this.shape) this.build(groups, shape);
    this.title.textContent = tool.title || "Tool without a title";
    for (const group of groups) {
      const parts = this.rows.get(group.section);
      if (document.activeElement !== parts.select) setLibrary(parts.select, group.library);
      for (const choice of group.choices) {
        const one = this.rows.get("choice " + choice.field);
        if (
          document.activeElement !== one) one.value = choice.value;
      }
      for (const knob of group.knobs) this.set(knob);
    }
    this.title.title = tool.title;
    const n = tool.numbers;
    this.glance.replaceChildren(...[
      ["nose", n.nose_angle_deg, 2, "°"],
      ["half wing", n["wing_angle_deg.50"], 2, "°"]
    ].map(([words, value, digits, unit]) => el("span", {}, words + " ", el("b", {}, number(value,
      digits) + unit))));
    this.glance.classList.toggle("stale", Boolean(tool.problem));
    this.problem(tool, groups);
  }

  build(groups, shape) {
    const focus = this.place.contains(document.activeElement) ? document.activeElement.id : "";
    this.shape = shape;
    this.rows.clear();
    const w = this.which,
      name = w.toUpperCase();
    this.title = el("span", { class: "title" });
    this.recipes = el("select", {
        id: `${w}-recipe`,
        "aria-label": `Put a recipe of the library on the bench as tool ${name}`,
        onchange: () => {
          if (this.recipes.value) this.act([{ do: "recipe", tool: w, name: this.recipes.value }]);
          this.recipes.value = "";
        }
      }, el("option", { value: "" }, "Take a recipe from the library …"), ...this.fixed.library.recipe
      .map((one) => el("option", { value: one.name }, one.title)));
    this.trouble = el("div", { class: "trouble", role: "alert", id: `${w}-trouble`, hidden: true });
    this.notes = el("div", {});
    this.glance = el("p", { class: "glance" });
    this.place.replaceChildren(
      el("div", { class: "tool-head" }, el("h2", {}, el("span", { class: "tag" }, name), this.title), this
        .recipes, this.glance, this.trouble, this.notes),
      ...groups.map((group) => this.group(group)),
      this.adder(groups),
    );
    if (focus) document.getElementById(focus)?.focus();
  }

  adder(groups) {
    const count = groups.filter((g) => g.section.startsWith("grind.")).length;
    if (count > 3) return el("p", {}, "");
    return el("button", {
        id: `${this.which}-add-relief`,
        onclick: () => {
          this.open.add(`grind.${count}`);
          this.act([{
            do: "turn",
            tool: this.which,
            changes: {
              [`grind.${count}`]: "relief"
            }
          }]);
        }
      }, count === 1 ? "Add a relief" :
      "Add another relief");
  }

  group(group) {
    const w = this.which,
      section = group.section,
      id = `${w}-${section}`;
    const table = section.startsWith("grind") ? "grind" : section;
    const select = el("select", {
      id: `${id}-library`,
      "aria-label": `${group.title} from the library, tool ${w.toUpperCase()}`,
      onchange: () => {
        if (select.value) this.act([{
          do: "turn",
          tool: w,
          changes: {
            [section]: select.value
          }
        }]);
      }
    }, el("option", { value: "" }, "own values"), ...this.fixed.library[table].map((one) => el(
      "option", { value: one.name, title: one.title }, one.title)));
    const toggle = el("button", {
      id: `${id}-open`,
      "aria-expanded": String(this.open.has(section)),
      "aria-controls": `${id}-knobs`,
      onclick: () => {
        const now = !this.open.has(section);
        now ? this.open.add(section) : this.open.delete(section);
        toggle.setAttribute("aria-expanded", String(now));
        box.dataset.open = now ? "yes" : "no";
      }
    }, group.title);
    const remove = group.removable ? el(
      "button", {
        class: "remove",
        "aria-label": `Remove this relief from tool ${w.toUpperCase()}`,
        onclick: () => this.act([{
          do: "turn",
          tool: w,
          changes: {
            [section]: null
          }
        }])
      }, "remove") : null;
    const box = el("section", {
        class: "group",
        "data-open": this.open.has(section) ? "yes" : "no",
        "aria-label": group.title
      },
      el("div", { class: "group-head" }, toggle, select, remove),
      el("div", { class: "knobs", id: `${id}-knobs` }, ...group.choices.map((one) => this.choice(one)),
        ...group.knobs.map((one) => this.knob(one, group.title))));
    this.rows.set(section, { select, box, toggle });
    return box;
  }

  choice(choice) {
    const id = `${this.which}-${choice.field}`;
    const select = el("select", {
        id,
        onchange: () => this.act([{
          do: "turn",
          tool: this.which,
          changes: {
            [choice.field]: select.value
          }
        }])
      },
      ...choice.options.map(([value, words]) => el("option", { value }, words)));
    this.rows.set("choice " + choice.field, select);
    return el("div", { class: "pick" }, el("label", { for: id }, choice.label), select);
  }

  knob(knob, group) {
    const id = `${this.which}-${knob.field}`;
    const turn = (value) => this.act([{
      do: "turn",
      tool: this.which,
      changes: {
        [knob.field]: value
      }
    }]);
    const text = el("input", {
      type: "text",
      inputmode: "decimal",
      id,
      autocomplete: "off",
      spellcheck: "false",
      "aria-describedby": `${id}-bad`,
      onchange: () => turn(typed(text.value)),
      onkeydown: (event) => {
        const way = { ArrowUp: 1, ArrowDown: -1 } [event.key],
          now = typed(text.value);
        if (event.key === "Enter") text.blur();
        if (!way || typeof now !== "number") return;
        event.preventDefault();
        const next = tidy(now + way * knob.step * (event.shiftKey ? 10 : 1));
        text.value = shown(next);
        range.value = next;
        turn(next);
      }
    });
    const range = el("input", {
      type: "range",
      min: knob.low,
      max: knob.high,
      step: knob.step,
      id: `${id}-slide`,
      "aria-label": `${group}: ${knob.label}, slider`,
      oninput: () => {
        text.value =
          shown(Number(range.value));
        turn(Number(range.value));
      }
    });
    const bad = el("p", { class: "bad-words", id: `${id}-bad`, hidden: true });
    const row = el("div", { class: "knob" }, el("div", { class: "knob-line" }, el("label", { for: id }, knob
      .label), text, el("span", { class: "unit" }, knob.unit)), range, bad);
    this.rows.set(knob.field, { text, range, bad, row });
    return row;
  }

  set(knob) {
    const { text, range, row } = this.rows.get(knob.field);
    row.dataset.follows = knob.follows ? "yes" : "no";
    text.title = knob.follows ? "follows from the others; set it and the others follow" : "";
    const plain = typeof knob.value === "number";
    if (document.activeElement !== text || this.settled) text.value = plain ? shown(knob.value) : knob
      .value ?? "";
    text.dataset.value = plain ? String(knob.value) : "";
    if (plain && (document.activeElement !== range || this.settled)) range.value = knob.value;
  }

  problem(tool, groups) {
    const wrong = tool.problem,
      fields = groups.flatMap((g) => g.knobs.map((k) => [k.field, g.section]));
    const found = wrong && (fields.find(([f]) => f === wrong.field) || fields.find(([f]) => f.split(".")
      .pop() === wrong.field.split(".").pop()));
    for (const [field, section] of fields) {
      const { text, bad, row } = this.rows.get(field), mine = Boolean(found) && found[0] === field;
      row.dataset.bad = mine ? "yes" : "no";
      text.setAttribute("aria-invalid", String(mine));
      bad.hidden = !mine;
      bad.textContent = mine ? sentence(wrong) : "";
      if (mine && !this.open.has(section)) this.rows.get(section).toggle.click();
    }
    this.trouble.hidden = !wrong;
    if (wrong) {
      const where = found ? "" : wrong.field ? wrong.field + ": " : "";
      this.trouble.replaceChildren(el("div", {}, found ?
          "A value below cannot be ground. The last good shape is shown in grey." :
          `This cannot be ground. ${where}${sentence(wrong)} The last good shape is shown in grey.`),
        el("button", {
          id: `${this.which}-back`,
          onclick: () => this.act([{
            do: "put_back",
            tool: this
              .which
          }])
        }, "Back to the last good values"));
    }
    this.notes.replaceChildren(...tool.notes.map((text) => el("p", { class: "note" }, text)));
  }
}

function rank(section) { const at = ORDER.indexOf(section); return at < 0 ? 9 : at; }

function tidy(value) { return Number(value.toFixed(6)); }

function shown(value) { return String(Number(value.toFixed(3))); }

function setLibrary(select, name) {
  select.value = name;
  if (select.value !== name) select.value = "";
  select.title = select.selectedOptions[0]?.textContent || "";
}
