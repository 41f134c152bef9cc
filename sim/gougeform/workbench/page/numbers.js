// The table of numbers: A, B, and B less A.
import { el, number, difference } from "./make.js";

const HEAD = new Set(["nose_angle_deg", "wing_angle_deg.50", "bevel_length_mm"]);

export class Numbers {
  constructor(table, rows) {
    this.rows = rows;
    this.cells = new Map();
    const body = el("tbody");
    for (const row of rows) {
      const a = el("td", { class: "a" }),
        b = el("td", { class: "b" }),
        d = el("td");
      for (const [cell, which] of [
          [a, "a"],
          [b, "b"],
          [d, "d"]
        ]) {
        cell.dataset.number = row.name;
        cell.dataset.of = which;
      }
      const line = el("tr", { class: HEAD.has(row.name) ? "head" : "" }, el("th", {
        scope: "row",
        title: row
          .what
      }, row.label + " ", el("span", { class: "unit" }, row.unit)), a, b, d);
      body.append(line);
      this.cells.set(row.name, { a, b, d, line });
    }
    table.replaceChildren(
      el("caption", { class: "skip" }, "Numbers of both tools and their differences"),
      el("thead", {}, el("tr", {}, el("th", { scope: "col" }, ""), el("th", { scope: "col" }, "A"), el(
        "th", { scope: "col" }, "B"), el("th", { scope: "col" }, "B − A"))), body);
  }

  // numbers and late: {a, b} of flat numbers; late[w] is null while it is being computed.
  show(numbers, late, stale) {
    for (const row of this.rows) {
      const { a, b, d, line } = this.cells.get(row.name), of = row.late ? late : numbers;
      const va = of.a?.[row.name],
        vb = of.b?.[row.name];
      for (const [cell, value, which] of [
          [a, va, "a"],
          [b, vb, "b"]
        ]) {
        if (value !== undefined || !row.late) cell.textContent = number(value, row.digits);
        cell.dataset.value = value ?? "";
        cell.classList.toggle("waiting", row.late && value === undefined);
        cell.classList.toggle("stale", Boolean(stale[which]));
      }
      const both = va !== null && vb !== null && va !== undefined && vb !== undefined,
        diff = both ? vb - va : null;
      d.textContent = difference(diff, row.digits);
      d.dataset.value = diff ?? "";
      d.classList.toggle("zero", both && Number(diff.toFixed(row.digits)) === 0);
      line.hidden = (va === null || va === undefined) && (vb === null || vb === undefined) && !row.late;
    }
  }
}
