// The written page round a `Viewer`: title, views, knob, words on the picture, legend. One file, no network.
const given = JSON.parse(document.getElementById("given").textContent);
const scene = unpacked(given.scene), of = (id) => document.getElementById(id);
const make = (name, text = "", kind = "") => Object.assign(document.createElement(name), { textContent: text, className: kind });

document.title = scene.title;
of("title").textContent = scene.title;
of("lines").textContent = scene.lines.join(" · ");
const viewer = new Viewer(of("scene"), scene, given.colours, given.light, written);
of("none").hidden = Boolean(viewer.gl);

scene.views.forEach((view, number) => {
  const button = make("button", view.name);
  button.addEventListener("click", () => { viewer.look(number); mark(); });
  of("views").append(button);
});
function mark() { [...of("views").children].forEach((one, i) => one.setAttribute("aria-pressed", scene.views[i] === viewer.view)); }
mark();

for (const [meaning, name] of given.legend) {
  const swatch = make("i"), entry = make("span");
  swatch.style.background = given.colours[meaning];
  entry.append(swatch, name);
  of("legend").append(entry);
}

const knob = of("knob");
of("bench").hidden = scene.frames.length < 2;
knob.max = scene.frames.length - 1;
knob.value = scene.first;
knob.setAttribute("aria-label", scene.knob);
knob.addEventListener("input", () => { stop(); viewer.step(Number(knob.value)); });
let playing = 0;
function stop() { clearInterval(playing); playing = 0; of("play").textContent = "play"; }
of("play").addEventListener("click", () => {
  if (playing) return stop();
  of("play").textContent = "stop";
  playing = setInterval(() => {
    knob.value = (Number(knob.value) + 1) % scene.frames.length;
    viewer.step(Number(knob.value));
  }, (1000 * scene.seconds) / scene.frames.length);
});

function written(scale) {
  const moment = scene.frames[viewer.frame], over = of("words");
  of("said").textContent = moment.words;
  over.replaceChildren();
  let last = -100;
  for (const label of viewer.view.labels ? moment.labels : []) {
    const [x, y] = viewer.place(label.at), one = make("b", label.words);
    let top = y - 46;
    if (Math.abs(top - last) < 24) top = last + 26;
    last = top;
    one.style.cssText = `left:${Math.max(4, x + 18)}px;top:${Math.max(4, top)}px;color:${given.colours[label.meaning]}`;
    over.append(one);
  }
  const most = 0.3 * of("scene").clientWidth / scale;
  const long = [0.2, 0.5, 1, 2, 5, 10, 20, 50, 100, 200].filter((mm) => mm <= most).pop() ?? 0.1;
  of("ruler").style.width = `${long * scale}px`;
  of("ruler").textContent = `${long} mm`;
}
