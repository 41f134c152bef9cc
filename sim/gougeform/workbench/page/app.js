// The bench as the page sees it. The server holds nothing: each turn brings the bench and gets the new one back.
import { el, number } from "./make.js";
import { ask, Refused } from "./asks.js";
import { Heads, LOOKS, forgetColours } from "./heads.js";
import { Knobs } from "./knobs.js";
import { Numbers } from "./numbers.js";
import { EdgeSheet } from "./edgechart.js";
import { SectionSheet } from "./sections.js";
import { GrinderSheet } from "./grinder.js";
import { ReachSheet } from "./reach.js";
import { AskSheet } from "./wanted.js";
import { KeepSheet } from "./keep.js";

const $ = (id) => document.getElementById(id);
const SHEETS = {
  edge: ["Edge angle", EdgeSheet],
  section: ["Section", SectionSheet],
  grinder: ["Grinder",
    GrinderSheet
  ],
  reach: ["Reach", ReachSheet],
  ask: ["Ask for an edge", AskSheet],
  keep: ["Open and keep", KeepSheet]
};
const STORE = "gougeform-bench";

const bench = {
  all: null,
  waiting: [],
  busy: false,
  late: {},
  heads: {},

  // Take deeds: what is set again before it went out replaces what waited.
  act(deeds) {
    for (const deed of deeds) {
      const last = this.waiting[this.waiting.length - 1];
      if (deed.do === "turn" && last?.do === "turn" && last.tool === deed.tool && sameFields(last.changes,
          deed.changes)) last.changes = deed.changes;
      else this.waiting.push(deed);
    }
    this.began ??= performance.now();
    return this.send();
  },

  look(changes) {
    Object.assign(this.all.bench.view, changes);
    return this.act([{
      do: "look",
      changes
    }]);
  },

  async send() {
    if (this.busy || !this.waiting.length) return;
    this.busy = true;
    const deeds = this.waiting.splice(0);
    const slow = setTimeout(() => say("Working …"), 1000);
    try {
      const got = await ask("turn", { bench: this.all.bench, do: deeds });
      if (got) this.take(got, !this.waiting.length);
      if (got) say("");
    } catch (error) { this.fault(error); } finally {
      clearTimeout(slow);
      this.busy = false;
    }
    if (this.waiting.length) return this.send();
    this.began = undefined;
  },

  take(got, settled = true) {
    this.all = {
      ...this.all,
      ...got,
      recipes: {
        a: got.bench.a.good || got.bench.a.wanted,
        b: got.bench.b
          .good || got.bench.b.wanted
      }
    };
    remember(got);
    if (settled || performance.now() - (this.shown || 0) > 60) {
      this.shown = performance.now();
      show(settled);
    }
    this.shapes();
  },

  // New shapes for the tools whose recipe has changed; numbers that take a moment once the hand rests.
  async shapes() {
    if (this.shaping) { this.again = true; return; }
    this.shaping = true;
    do {
      this.again = false;
      for (const which of ["a", "b"]) {
        const key = this.all.tools[which].key;
        if (!heads.works || this.heads[which] === key) continue;
        const same = which === "b" && this.all.tools.a.key === key && heads.tools.a && this.heads.a ===
          key;
        const shape = same ? heads.tools.a.shape : await this.quietly(() => ask("head", {
          recipe: this.all
            .recipes[which]
        }, which));
        if (shape) {
          heads.put(which, shape);
          this.heads[which] = key;
          document.body.dataset[`head${which.toUpperCase()}`] = key;
          if (this.all.tools[which].key ===
            key) key_();
        }
      }
    } while (this.again);
    this.shaping = false;
    clearTimeout(this.rest);
    this.rest = setTimeout(() => this.afterwards(), 220);
  },

  async afterwards() {
    for (const which of ["a", "b"]) {
      const key = this.all.tools[which].key;
      if (this.late[which]?.key === key) continue;
      const other = which === "a" ? "b" : "a";
      const got = this.late[other]?.key === key ? this.late[other] : await this.quietly(() => ask(
        "late", { recipe: this.all.recipes[which] }, which));
      if (got) this.late[which] = { key, numbers: got.numbers };
      if (this.all.tools[which].key === key) showNumbers();
    }
  },

  async open(text, tool) {
    const got = await ask("open", { bench: this.all.bench, text, tool });
    if (!got) return "";
    this.take(got);
    return "Opened.";
  },

  async quietly(work) {
    try { return await work(); } catch (error) { this.fault(error); return null; }
  },

  fault(error) { say(error instanceof Refused ? error.words : String(error), true); },
};

function sameFields(p, q) {
  const a = Object.keys(p),
    b = Object.keys(q);
  return a.length === b.length && a.every((k) => k in q);
}

let heads, numbers, columns, sheet, open = "";

function show(settled) {
  const { tools, bench: now } = bench.all;
  for (const which of ["a", "b"]) {
    columns[which].settled = settled && !document.activeElement?.matches("input");
    columns[which].show(tools[which]);
    heads.grey[which] = tools[which].problem ? 1 : 0;
    $(`beside-${which}`).textContent = ["nose_angle_deg", "wing_angle_deg.50"].map((key) =>
      `${number(tools[which].numbers[key], 1)}°`).join(" · ");
  }
  heads.overlay = now.view.overlay;
  $("overlay").checked = now.view.overlay;
  document.querySelector(".heads").dataset.overlay = now.view.overlay ? "yes" : "no";
  heads.draw();
  key_();
  showNumbers();
  if (open !== now.view.panel) openSheet(now.view.panel);
  sheet.show(bench.all);
  showCautions();
}

function showNumbers() {
  const { tools } = bench.all, late = {};
  for (const w of ["a", "b"]) late[w] = bench.late[w]?.key === tools[w].key ? bench.late[w].numbers :
    undefined;
  numbers.show({ a: tools.a.numbers, b: tools.b.numbers }, late, { a: tools.a.problem, b: tools.b.problem });
}

function key_() {
  const many = Math.max(...["a", "b"].map((w) => heads.tools[w]?.grinds || 1));
  const words = ["first bevel", "relief", "relief 2", "relief 3"].slice(0, many).map((text, i) => [text,
    `--grind-${i}`
  ]);
  const list = [...(many === 1 ? [
      ["bevel", "--grind-0"]
    ] : words), ["flute", "--flute"],
    ["bar", "--bar"]
  ];
  if ($("key").dataset.many === String(many)) return;
  $("key").dataset.many = many;
  $("key").replaceChildren(...list.map(([text, tint]) => {
    const box = el("i");
    box.style.background = `var(${tint})`;
    return el("li", {}, text, box);
  }));
}

function showCautions() {
  const { tools } = bench.all, list = [], seen = new Map();
  for (const w of ["a", "b"])
    for (const one of tools[w].cautions) {
      if (seen.has(one.text)) seen.get(one.text).of.push(w.toUpperCase());
      else {
        const item = { ...one, of: [w.toUpperCase()] };
        seen.set(one.text, item);
        list.push(item);
      }
    }
  list.sort((p, q) => q.strong - p.strong);
  const strong = list.filter((one) => one.strong),
    first = strong[0] || list[list.length - 1];
  const words = (one) => (one.of.length < 2 ? `Tool ${one.of[0]}: ` : "") + one.text;
  $("cautions").className = strong.length ? "strong" : "";
  $("cautions").replaceChildren(el("p", { role: strong.length ? "alert" : "note" }, words(first)), el(
    "button", { id: "cautions-open", onclick: () => $("all-cautions").showModal() },
    `All ${list.length} cautions`));
  $("cautions-list").replaceChildren(el("ul", {}, ...list.map((one) => el("li", {
    class: one.strong ?
      "strong" : ""
  }, words(one)))));
}

function openSheet(name) {
  open = name;
  sheet?.close();
  sheet = new SHEETS[name][1]($("sheet"), bench);
  for (const tab of document.querySelectorAll("#tabs button")) {
    const mine = tab.dataset.name === name;
    tab.setAttribute("aria-selected", String(mine));
    tab.tabIndex = mine ? 0 : -1;
  }
  $("sheet").setAttribute("aria-labelledby", `tab-${name}`);
  for (const one of [".spread", ".middle"]) document.querySelector(one).dataset.sheet = name;
}

function say(words, bad = false) {
  $("said").textContent = words;
  $("said").className = bad ? "bad-words" : "";
}

// The tab's own store holds the bench for a reload; the address follows once the hand rests, since browsers allow it
// to be changed only so often.
let keeping = 0;

function remember(got) {
  try {
    sessionStorage.setItem(STORE, JSON.stringify(got
      .bench));
  } catch { /* a browser that keeps nothing: the address still does */ }
  clearTimeout(keeping);
  keeping = setTimeout(() => history.replaceState(null, "", got.address ? "#" + got.address : location
    .pathname), 150);
}

function theme(name) {
  document.documentElement.dataset.theme = name;
  $("theme").setAttribute("aria-pressed", String(name === "dark"));
  forgetColours();
  heads?.draw();
  try { localStorage.setItem("gougeform-theme", name); } catch { /* it is asked of the system next time */ }
}

async function begin() {
  let kept = null,
    chosen = null;
  try {
    kept = JSON.parse(sessionStorage.getItem(STORE));
    chosen = localStorage.getItem("gougeform-theme");
  } catch { /* nothing kept */ }
  theme(chosen || (matchMedia("(prefers-color-scheme: dark)").matches ? "dark" : "light"));
  $("theme").onclick = () => theme(document.documentElement.dataset.theme === "dark" ? "light" : "dark");
  const hash = location.hash.slice(1),
    tries = [];
  if (kept && performance.getEntriesByType("navigation")[0]?.type === "reload") tries.push([{ bench: kept },
    "What was kept cannot be shown. "
  ]);
  if (hash) tries.push([{ address: hash }, "The address holds no bench that can be shown. "]);
  tries.push([{}, ""]);
  let got, words = "";
  for (const [what, trouble] of tries) {
    try { got = await ask("begin", what); break; } catch (error) {
      words += trouble + (error.words ||
        error) + " ";
    }
  }
  if (!got) { say(words, true); return; }
  heads = new Heads($("heads"), () => {
    for (const one of $("looks").children) one.setAttribute(
      "aria-pressed", "false");
  });
  if (!heads.works) {
    $("no-heads").hidden = false;
    $("no-heads").textContent =
      "This browser gives the page no WebGL 2, so the heads cannot be drawn. All numbers and the other sheets work.";
  }
  columns = {
    a: new Knobs($("tool-a"), "a", got, (d) => bench.act(d)),
    b: new Knobs($("tool-b"), "b", got,
      (d) => bench.act(d))
  };
  numbers = new Numbers($("numbers"), got.rows);
  const looks = (name) => {
    heads.look(name);
    for (const one of $("looks").children) one.setAttribute(
      "aria-pressed", String(one.dataset.name === name));
  };
  $("looks").append(...Object.entries(LOOKS).map(([name, [text]]) => el("button", {
    "data-name": name,
    onclick: () => {
      looks(name);
      bench.look({ look: name });
    }
  }, text)));
  $("overlay").onchange = () => bench.look({ overlay: $("overlay").checked });
  $("tabs").append(...Object.entries(SHEETS).map(([name, [text]]) => el("button", {
    role: "tab",
    id: `tab-${name}`,
    "data-name": name,
    "aria-controls": "sheet",
    onclick: () => bench
      .look({ panel: name }).then(() => 0)
  }, text)));
  $("tabs").addEventListener("keydown", (event) => {
    const way = { ArrowRight: 1, ArrowLeft: -1 } [event.key],
      names = Object.keys(SHEETS);
    if (!way) return;
    const next = names[(names.indexOf(open) + way + names.length) % names.length];
    $(`tab-${next}`).focus();
    $(`tab-${next}`).click();
  });
  $("copy-ab").onclick = () => bench.act([{ do: "copy", from: "a" }]);
  $("copy-ba").onclick = () => bench.act([{ do: "copy", from: "b" }]);
  $("swap").onclick = () => bench.act([{ do: "swap" }]);
  $("cautions-close").onclick = () => $("all-cautions").close();
  const main = document.querySelector("main");
  const shown = (which) => {
    main.dataset.shown = which;
    $("show-a").setAttribute("aria-pressed", String(which === "a"));
    $("show-b").setAttribute("aria-pressed", String(which === "b"));
  };
  $("show-a").onclick = () => shown("a");
  $("show-b").onclick = () => shown("b");
  shown("a");
  addEventListener("resize", () => {
    document.documentElement.dataset.narrow = innerWidth <= 820 ? "yes" :
      "no";
  });
  addEventListener("hashchange", async () => {
    const now = location.hash.slice(1);
    if (now && now !== bench.all.address) {
      const other = await bench.quietly(() => ask(
        "begin", { address: now }));
      if (other) bench.take(other);
    }
  });
  bench.fixed = got;
  looks(got.bench.view.look);
  bench.take(got);
  document.body.dataset.ready = "yes";
  if (words) say(words, true);
}

begin();
