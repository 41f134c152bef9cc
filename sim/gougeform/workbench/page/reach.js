import { el } from "./make.js";
export class ReachSheet { constructor(place) { place.replaceChildren(el("p", {}, "…")); } close() {} show() {} }
