// Plays pictures that Python has drawn up as shapes and arrays (shapes.py, courses.py). Nothing is reckoned here but where
// between two samples of an array the picture stands, and how its shapes lie on the canvas.

const TAU = 2 * Math.PI;
const STEP_PAUSE = 700;      // ms from step to step where motion is not wanted
const LONGEST_FRAME = 0.1;   // s; a page that was hidden goes on from where it stood

// ---- arrays

function unpack(picture, view) {
  const all = new Float32Array(view.buffer.slice(view.byteOffset, view.byteOffset + view.byteLength));
  const arrays = {};
  for (const [name, [how, start, count]] of Object.entries(picture.arrays)) {
    arrays[name] = { how, values: all.subarray(start, start + count) };
  }
  return arrays;
}

function before(shares, share) {
  let low = 0, high = shares.length - 2;
  while (low < high) {
    const middle = (low + high + 1) >> 1;
    if (shares[middle] <= share) low = middle; else high = middle - 1;
  }
  return low;
}

function numbersAt(arrays, at) {
  const turns = Math.floor(at), share = at - turns, shares = arrays.share.values;
  const k = before(shares, share), span = shares[k + 1] - shares[k];
  const part = span > 0 ? Math.min(1, (share - shares[k]) / span) : 0;
  const now = {};
  for (const [name, { how, values }] of Object.entries(arrays)) {
    now[name] = how === "hold" ? values[k] : values[k] + part * (values[k + 1] - values[k]);
    if (how === "carry") now[name] += turns * values[values.length - 1];
  }
  return now;
}

// ---- shapes

function trace(pen, points, shut) {
  pen.beginPath();
  points.forEach(([x, y], n) => (n ? pen.lineTo(x, y) : pen.moveTo(x, y)));
  if (shut) pen.closePath();
}

const draw = {
  path(pen, shape, now) {
    const tone = shape.tone ? now[shape.tone] : 0;
    const ink = shape.tone ? shape.tones[tone] : shape.ink;
    pen.save();
    if (shape.slide) pen.translate(now[shape.slide[0]] * shape.slide[1], now[shape.slide[0]] * shape.slide[2]);
    if (shape.turn) {
      const [by, x, y, closed, open] = shape.turn;
      pen.translate(x, y);
      pen.rotate(((closed + now[by] * (open - closed)) * TAU) / 360);
      pen.translate(-x, -y);
    }
    trace(pen, shape.points, shape.shut);
    if (shape.fill) { pen.fillStyle = shape.fill; pen.fill(); }
    if (ink) {
      pen.strokeStyle = ink;
      pen.lineWidth = tone && shape.live ? shape.live : shape.width;
      pen.lineJoin = shape.shut ? "miter" : "round";
      pen.setLineDash(shape.dash || []);
      pen.stroke();
    }
    pen.restore();
  },

  bar(pen, shape, now) {
    const [x, y, wide, high] = shape.box, full = high * now[shape.by];
    pen.fillStyle = shape.fill;
    pen.fillRect(x, y + high - full, wide, full);
    if (shape.top) {
      trace(pen, [[x, y + high - full], [x + wide, y + high - full]]);
      pen.strokeStyle = shape.top; pen.lineWidth = 1.2; pen.stroke();
    }
  },

  marks(pen, shape, now) {
    const way = now[shape.way], { points, spacing, gaps } = shape;
    let next = ((now[shape.move] % spacing) + spacing) % spacing, start = 0;
    pen.fillStyle = shape.tones[now[shape.tone]];
    pen.lineWidth = way ? 0.8 : 1;
    pen.strokeStyle = way ? shape.paper : shape.still;
    for (let n = 1; n < points.length; n++) {
      const [x, y] = points[n - 1], across = points[n][0] - x, down = points[n][1] - y, length = Math.hypot(across, down);
      for (; next < start + length; next += spacing) {
        if (gaps.some(([from, to]) => from <= next && next <= to)) continue;
        const part = (next - start) / length;
        mark(pen, x + part * across, y + part * down, Math.atan2(down, across), way, shape.paper);
      }
      start += length;
    }
  },

  words(pen, shape) {
    pen.font = `${shape.bold ? "bold " : ""}${shape.size}px "DejaVu Sans", Verdana, system-ui, sans-serif`;
    pen.fillStyle = shape.ink;
    pen.textAlign = shape.align;
    pen.textBaseline = "middle";
    pen.fillText(shape.text, ...shape.at);
  },

  playhead(pen, shape, now) {
    const [left, top, right, bottom] = shape.box, [high, low] = shape.dot;
    const x = left + now[shape.by] * (right - left);
    trace(pen, [[x, top], [x, bottom]]);
    pen.strokeStyle = shape.ink; pen.lineWidth = 1.2; pen.stroke();
    pen.beginPath();
    pen.arc(x, low - now[shape.height] * (low - high), 3.4, 0, TAU);
    pen.fillStyle = shape.fill; pen.fill(); pen.lineWidth = 1.6; pen.stroke();
  },
};

function mark(pen, x, y, along, way, paper) {
  pen.save();
  pen.translate(x, y);
  if (way) {
    pen.rotate(along + (way < 0 ? Math.PI : 0));
    trace(pen, [[5, 0], [-4, 4.2], [-4, -4.2]], true);
  } else {
    pen.fillStyle = paper;
    pen.beginPath();
    pen.arc(0, 0, 1.7, 0, TAU);
  }
  pen.fill();
  pen.stroke();
  pen.restore();
}

function paint(canvas, scene, picture, arrays, at) {
  const scale = canvas.width / scene.wide, pen = canvas.getContext("2d"), now = numbersAt(arrays, at);
  pen.setTransform(scale, 0, 0, scale, 0, 0);
  for (const shape of picture.shapes) {
    if (!shape.when || now[shape.when[0]] === shape.when[1]) draw[shape.do](pen, shape, now);
  }
}

// ---- controls

function make(kind, attributes, parent, text) {
  const made = document.createElement(kind);
  for (const [name, value] of Object.entries(attributes)) made.setAttribute(name, value);
  if (text) made.textContent = text;
  parent.append(made);
  return made;
}

function controls(root, scene) {
  const bar = make("div", { class: "boostkit-bar" }, root);
  const button = (text, label) => make("button", { type: "button", "aria-label": label, title: label }, bar, text);
  const play = button("Play", "Play or pause (Space)");
  const back = button("◂ Step", "One step back (Left arrow)");
  const on = button("Step ▸", "One step on (Right arrow)");
  const again = button("Reset", "Back to where it began (Home)");
  const label = make("label", {}, bar, "Speed ");
  const speed = make("select", { "aria-label": "Speed (plus and minus keys)" }, label);
  scene.speeds.forEach(([seconds, words], n) => make("option", { value: n, ...(n === scene.speed && { selected: "" }) }, speed, words));
  const scrub = make("input", { type: "range", min: 0, max: scene.instants.length - 1, step: 1, value: scene.start,
                                "aria-label": "Instant within the period" }, root);
  const status = make("div", { class: "boostkit-status", role: "status" }, root);
  return { play, back, on, again, speed, scrub, status };
}

function render({ model, el }) {
  let scene = model.get("scene"), arrays = [];
  const root = make("div", { class: "boostkit-player", role: "group", tabindex: "0", "aria-label": scene.label }, el);
  const stage = make("div", { class: "boostkit-stage" }, root);
  const canvases = scene.pictures.map((picture) => make("canvas", { role: "img", "aria-label": picture.label }, stage));
  const ui = controls(root, scene);
  const calm = window.matchMedia("(prefers-reduced-motion: reduce)");
  let at = scene.instants[scene.start], playing = false, last = 0, request = 0, timer = 0;

  const share = () => at - Math.floor(at);
  const count = () => scene.instants.length;

  function passed() {                       // the last instant that the picture has come to
    let n = count() - 1;
    while (n > 0 && scene.instants[n] > share() + 1e-9) n--;
    return n;
  }

  function show() {
    canvases.forEach((canvas, n) => paint(canvas, scene, scene.pictures[n], arrays[n], at));
    ui.scrub.value = passed();
  }

  function tell() {                         // spoken by a screen reader, so never while it plays
    const n = passed();
    ui.status.replaceChildren();
    for (const picture of scene.pictures) make("p", {}, ui.status, picture.readings[n]);
    ui.scrub.setAttribute("aria-valuetext", scene.pictures[0].readings[n]);
  }

  function rest() {
    playing = false;
    cancelAnimationFrame(request);
    clearTimeout(timer);
    ui.play.textContent = "Play";
  }

  function stop() {
    rest();
    at = Math.floor(at) + scene.instants[passed()];
    show();
    tell();
  }

  function go(n) {                          // to the n-th instant; past an end into the next or the last period
    rest();
    const turns = Math.floor(n / count());
    at = Math.floor(at) + turns + scene.instants[n - turns * count()];
    show();
    tell();
  }

  function frame(time) {
    const passing = last ? Math.min(LONGEST_FRAME, (time - last) / 1000) : 0;
    last = time;
    at += passing / scene.speeds[ui.speed.value][0];
    show();
    request = requestAnimationFrame(frame);
  }

  function stride() {
    go(passed() + 1);
    playing = true;
    ui.play.textContent = "Pause";
    timer = setTimeout(stride, STEP_PAUSE);
  }

  function toggle() {
    if (playing) return stop();
    if (calm.matches) return stride();
    playing = true;
    last = 0;
    ui.play.textContent = "Pause";
    ui.status.replaceChildren(document.createTextNode(scene.running));
    request = requestAnimationFrame(frame);
  }

  function faster(by) {
    ui.speed.selectedIndex = Math.max(0, Math.min(scene.speeds.length - 1, ui.speed.selectedIndex + by));
  }

  function reset() {
    at = 0;
    go(scene.start);
  }

  function key(event) {
    const own = event.target.tagName;       // what the browser does for a control of its own stays
    const keys = {
      " ": own !== "BUTTON" && own !== "SELECT" && toggle,
      ArrowRight: own !== "INPUT" && own !== "SELECT" && (() => go(passed() + 1)),
      ArrowLeft: own !== "INPUT" && own !== "SELECT" && (() => go(passed() - 1)),
      Home: own !== "SELECT" && reset,
      "+": () => faster(1), "=": () => faster(1), "-": () => faster(-1),
    };
    if (!keys[event.key] || event.ctrlKey || event.metaKey || event.altKey) return;
    event.preventDefault();
    event.stopPropagation();
    keys[event.key]();
  }

  function size() {                         // as many dots as the screen has
    for (const canvas of canvases) {
      const wide = Math.round(canvas.clientWidth * (window.devicePixelRatio || 1));
      if (!wide || canvas.width === wide) continue;
      canvas.width = wide;
      canvas.height = Math.round((wide * scene.high) / scene.wide);
    }
    show();
  }

  function load() {
    scene = model.get("scene");
    arrays = scene.pictures.map((picture) => unpack(picture, model.get("numbers")));
  }

  // JupyterLab takes keys before they get here, unless the very element that has the focus says no
  for (const stop of [root, ...root.querySelectorAll("button, select, input")]) stop.dataset.lmSuppressShortcuts = "true";

  load();
  ui.play.addEventListener("click", toggle);
  ui.back.addEventListener("click", () => go(passed() - 1));
  ui.on.addEventListener("click", () => go(passed() + 1));
  ui.again.addEventListener("click", reset);
  ui.scrub.addEventListener("input", () => go(Number(ui.scrub.value)));
  root.addEventListener("keydown", key);
  const watch = new ResizeObserver(size);
  canvases.forEach((canvas) => watch.observe(canvas));
  tell();
  return () => { rest(); watch.disconnect(); };
}

export default { render };
