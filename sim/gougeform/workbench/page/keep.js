// Open, save, share, and files to take away.
import { el } from "./make.js";
import { ask, job, save } from "./asks.js";

const FILES = [
  ["recipe", "recipe (TOML)", "small"],
  ["stl", "STL mesh", "files"],
  ["3mf", "3MF mesh", "files"],
  ["csv", "edge table (CSV)", "small"],
  ["numbers", "numbers (JSON)", "small"],
  ["picture", "picture (PNG)", "picture"],
  ["gauges", "gauges (ZIP)", "files"],
  ["card", "set-up card", "files"]
];

export class KeepSheet {
  constructor(place, bench) {
    this.bench = bench;
    this.out = el("div", { role: "status" });
    const file = el("input", {
      type: "file",
      id: "open-file",
      accept: ".toml",
      onchange: async () => {
        const one = file.files[0];
        if (!one) return;
        const text = one.size > 300000 ? null : await one.text();
        if (text === null) this.say(
          "That file is larger than a recipe or bench file ever is (at most 256 KiB).", true);
        else await this.bench.open(text, into.value).then((words) => this.say(words), (error) => this
          .say(error.words || String(error), true));
        file.value = "";
      }
    });
    const into = el("select", { id: "open-into" }, el("option", { value: "a" }, "tool A"), el(
      "option", { value: "b" }, "tool B"));
    const rows = ["a", "b"].map((which) => el("div", {
        class: "form",
        role: "group",
        "aria-label": `Files of tool ${which.toUpperCase()}`
      }, el(
        "span", { class: `tag ${which}` }, which.toUpperCase()),
      ...FILES.map(([kind, words, how]) => el("button", {
        id: `get-${kind}-${which}`,
        onclick: () =>
          this.get(kind, which, how, words)
      }, words))));
    place.replaceChildren(
      el("h3", {}, "Open"), el("div", { class: "form" }, el("label", {}, "a recipe or bench file (.toml)",
        file), el("label", {}, "a recipe becomes", into)),
      el("h3", {}, "Take away"), ...rows,
      el("h3", {}, "Keep the whole bench"), el("div", { class: "form" }, el("button", {
        id: "get-bench",
        onclick: () => this.get("bench", "a", "small", "bench")
      }, "Save the bench (TOML)"), el(
        "button", { id: "copy-address", onclick: () => this.address() }, "Copy this bench's address")),
      el("p", {},
        "The address holds both tools and the view; opened in another tab it restores the bench." +
        " What is on the bench also survives a reload."
      ), this.out);
  }

  close() { this.running?.stop(); }
  show() {}

  say(words, bad = false) {
    this.out.replaceChildren(el("p", { class: bad ? "answer bad" : "answer" },
      words));
  }

  async address() {
    try {
      if (!location.hash) throw new Error();
      await navigator.clipboard.writeText(location.href);
      this.say("The address is copied.");
    } catch {
      this.say(location.hash ?
        "The browser does not let a page copy here: copy the address from its own address line." :
        "This bench is too large for an address. Save it as a file instead.", true);
    }
  }

  async get(kind, which, how, words) {
    try {
      let file;
      if (how === "small") file = await ask("save", { kind, tool: which, bench: this.bench.all.bench },
        kind + which);
      else {
        this.running?.stop();
        const stop = el("button", { onclick: () => this.running.stop() }, "Stop"),
          said = el("span", {}, `Making the ${words} …`),
          bar = el("i");
        this.out.replaceChildren(el("div", { class: "answer busy" }, said, el("div", { class: "bar-of" },
          bar), stop));
        this.running = job(how, {
          kind,
          tool: which,
          recipe: this.bench.all.recipes[which],
          title: this
            .bench.all.tools[which].title
        }, (share, text) => {
          bar.style.width =
            `${100 * share}%`;
          if (text) said.textContent = text + " …";
        });
        file = await this.running.answer;
      }
      if (!file) return;
      save(file);
      this.say(`${file.name} is made.${file.note ? " " + file.note : ""}`);
    } catch (error) {
      this.say(error.name === "AbortError" ? "Stopped." : error.words || String(error), error.name !==
        "AbortError");
    }
  }
}
