import { el } from "./make.js";
export class AskSheet { constructor(place) { place.replaceChildren(el("p", {}, "…")); } close() {} show() {} }
