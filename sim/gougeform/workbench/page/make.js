// Small helpers to build elements without markup in strings.

export function el(name, attributes = {}, ...children) {
  const made = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) {
    if (value === null || value === undefined || value === false) continue;
    if (key.startsWith("on")) made.addEventListener(key.slice(2), value);
    else if (key === "value") made.value = value;
    else made.setAttribute(key, value === true ? "" : value);
  }
  made.append(...children.filter((child) => child !== null && child !== undefined));
  return made;
}

export function svg(name, attributes = {}, ...children) {
  const made = document.createElementNS("http://www.w3.org/2000/svg", name);
  for (const [key, value] of Object.entries(attributes))
    if (value !== null && value !== undefined) made.setAttribute(key, value);
  made.append(...children);
  return made;
}

export function number(value, digits) {
  if (value === null || value === undefined || !Number.isFinite(value)) return "–";
  const text = value.toFixed(digits);
  return (Number(text) === 0 ? text.replace("-", "") : text).replace("-", "−");
}

export function difference(value, digits) {
  if (value === null || value === undefined) return "–";
  const text = number(value, digits);
  return value > 0 && Number(value.toFixed(digits)) !== 0 ? "+" + text : text;
}

export function path(points, close = false) {
  return points.map((p, i) => (i ? "L" : "M") + p[0].toFixed(2) + " " + p[1].toFixed(2)).join("") + (close ?
    "Z" : "");
}

export function typed(text) {
  // What a person typed as a number; the text itself where it is none, so that the server can say what is allowed.
  const plain = text.trim().replace("−", "-").replace(/^(-?\d*),(\d+)$/, "$1.$2");
  return /^[+-]?(\d+\.?\d*|\.\d+)(e[+-]?\d+)?$/i.test(plain) ? Number(plain) : text.trim();
}

export function steps(low, high, most) {
  const rough = (high - low) / Math.max(most, 1),
    power = 10 ** Math.floor(Math.log10(rough));
  const step = [1, 2, 5, 10].map((k) => k * power).find((k) => k >= rough);
  const out = [];
  for (let v = Math.ceil(low / step - 1e-9) * step; v <= high + 1e-9 * step; v += step) out.push(Math.abs(v) <
    1e-9 ? 0 : v);
  return { values: out, digits: Math.max(0, -Math.floor(Math.log10(step) + 1e-9)) };
}
