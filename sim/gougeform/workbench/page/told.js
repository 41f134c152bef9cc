// An answer of the program as it is told on a page: the blocks that a terminal gets too.
import { el } from "./make.js";

const cell = (one, place) => el(place ? "td" : "th", place ? {} : { scope: "row" }, one.text);

function table(block) {
  const head = block.head.some((words) => words) ? [el("tr", {}, ...block.head.map((words) => el(
    "th", { scope: "col" }, words)))] : [];
  const rows = block.rows.map((row) => el("tr", {}, ...row.map(cell)));
  return el("table", { class: "told" }, el("caption", {}, block.title), el("thead", {}, ...head), el(
    "tbody", {}, ...rows));
}

function parts(block) {
  const list = (points) => el("ul", {}, ...points.map((text) => el("li", {}, text)));
  const title = block.title && !block.rows.length && (block.points.length || block.text) ? [el("h4", {}, block
    .title)] : [];
  return [
    ...title, ...(block.rows.length ? [table(block)] : []), ...(block.points.length ? [list(block.points)] :
      []),
    ...(block.text ? [el("pre", {}, block.text)] : []), ...(block.below ? [el("p", {}, block.below)] : []),
  ];
}

export function told(answer) {
  const notes = { title: "Notes", head: [], rows: [], points: answer.notes, text: "", below: "" };
  return [...(answer.verdict ? [el("p", {}, answer.verdict)] : []), ...[...answer.blocks, notes].flatMap(
    parts)];
}
