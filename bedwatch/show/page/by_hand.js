"use strict";
(() => {
  const given = JSON.parse(document.getElementById("given").textContent);
  const [width, height] = given.size_px;
  const steps = given.steps; // {key, option, title, what, least, most, tone, round}
  const byId = (id) => document.getElementById(id);
  const ink = byId("ink"), loupe = byId("loupe"), picture = byId("picture");
  const places = {}, order = [];
  let step = 0, dragged = null, pointer = null;

  for (const one of steps) places[one.key] = [];

  // The places are kept in the page's address, so that they are still there when it is loaded again.
  const read = () => {
    for (const part of decodeURIComponent(location.hash.slice(1)).split("&")) {
      const [key, text] = part.split("=");
      if (!(key in places) || !text) continue;
      for (const pair of text.split(";")) add(key, pair.split(",").map(Number), false);
    }
  };
  const keep = () => {
    const parts = steps.filter((s) => places[s.key].length).map((s) => s.key + "=" + places[s.key].map(told).join(";"));
    try { history.replaceState(null, "", "#" + parts.join("&")); } catch { /* a page that may not change its address */ }
  };
  const told = (p) => p[0].toFixed(1) + "," + p[1].toFixed(1);

  const inside = (p) => p.length === 2 && p.every(Number.isFinite)
    && p[0] >= -0.5 && p[1] >= -0.5 && p[0] <= width - 0.5 && p[1] <= height - 0.5;

  function add(key, place, draw = true) {
    if (!inside(place)) return;
    const one = steps.find((s) => s.key === key);
    if (places[key].length >= one.most) forget(key, places[key][0]);
    places[key].push(place);
    order.push([key, place]);
    if (draw) changed();
  }
  function forget(key, place) {
    places[key].splice(places[key].indexOf(place), 1);
    order.splice(order.findIndex((o) => o[1] === place), 1);
  }

  // Least squares a x^2 + b xy + c y^2 + d x + e y = 1 about the middle of the places; null where that is no ellipse.
  function ellipse(points) {
    if (points.length < 5) return null;
    const n = points.length;
    const mu = points.reduce((s, p) => s + p[0], 0) / n, mv = points.reduce((s, p) => s + p[1], 0) / n;
    const size = Math.max(...points.map((p) => Math.hypot(p[0] - mu, p[1] - mv))) || 1;
    const m = Array.from({ length: 5 }, () => new Array(6).fill(0));
    for (const p of points) {
      const x = (p[0] - mu) / size, y = (p[1] - mv) / size, row = [x * x, x * y, y * y, x, y];
      for (let i = 0; i < 5; i++) {
        for (let j = 0; j < 5; j++) m[i][j] += row[i] * row[j];
        m[i][5] += row[i];
      }
    }
    for (let i = 0; i < 5; i++) {
      let best = i;
      for (let k = i + 1; k < 5; k++) if (Math.abs(m[k][i]) > Math.abs(m[best][i])) best = k;
      [m[i], m[best]] = [m[best], m[i]];
      if (Math.abs(m[i][i]) < 1e-10) return null;
      for (let k = 0; k < 5; k++) {
        if (k === i) continue;
        const f = m[k][i] / m[i][i];
        for (let j = i; j < 6; j++) m[k][j] -= f * m[i][j];
      }
    }
    const [a, b, c, d, e] = m.map((row, i) => row[5] / row[i]);
    const det = 4 * a * c - b * b;
    if (det <= 0) return null;
    const x = (b * e - 2 * c * d) / det, y = (b * d - 2 * a * e) / det;
    const level = 1 + a * x * x + b * x * y + c * y * y;
    const half = Math.hypot(a - c, b) / 2, mid = (a + c) / 2;
    const long = Math.sqrt(level / (mid - half)), short = Math.sqrt(level / (mid + half));
    if (!(long > 0) || !(short > 0)) return null;
    const angle = 0.5 * Math.atan2(-b, c - a);
    return { u: mu + size * x, v: mv + size * y, long: size * long, short: size * short, angle };
  }
  // First-order distance of a place from an ellipse, pixels.
  function off(p, f) {
    const cos = Math.cos(f.angle), sin = Math.sin(f.angle);
    const x = (p[0] - f.u) * cos + (p[1] - f.v) * sin, y = (p[1] - f.v) * cos - (p[0] - f.u) * sin;
    const q = (x / f.long) ** 2 + (y / f.short) ** 2 - 1;
    return q / (2 * Math.hypot(x / f.long ** 2, y / f.short ** 2));
  }
  // The place that the others disagree with, if one does.
  function slip(points) {
    let worst = null;
    if (points.length < 7) return worst;
    points.forEach((p, i) => {
      const fit = ellipse(points.filter((_, k) => k !== i));
      if (!fit) return;
      const others = Math.max(...points.filter((_, k) => k !== i).map((o) => Math.abs(off(o, fit))));
      const far = Math.abs(off(p, fit));
      if (far > 6 && far > 2 * others && (!worst || far > worst.far)) worst = { number: i + 1, far };
    });
    return worst;
  }

  const scale = () => picture.clientWidth / width;
  const at = (event) => {
    const box = ink.getBoundingClientRect();
    return [(event.clientX - box.left) / scale() - 0.5, (event.clientY - box.top) / scale() - 0.5];
  };
  const clip = (p) => [Math.min(Math.max(p[0], -0.5), width - 0.5), Math.min(Math.max(p[1], -0.5), height - 0.5)];

  function stroke(pen, tone, thick, draw) {
    for (const [colour, wide] of [["#111", thick + 2.5], [tone, thick]]) {
      pen.strokeStyle = colour;
      pen.lineWidth = wide;
      pen.beginPath();
      draw();
      pen.stroke();
    }
  }
  function paint(pen, s, marks) {
    for (const one of steps) {
      const points = places[one.key], fit = one.round ? ellipse(points) : null;
      pen.setLineDash(one.dash || []);
      if (fit) stroke(pen, one.tone, 2, () =>
        pen.ellipse((fit.u + 0.5) * s, (fit.v + 0.5) * s, fit.long * s, fit.short * s, fit.angle, 0, 7));
      if (!one.round && points.length > 2) {
        const mu = points.reduce((t, p) => t + p[0], 0) / points.length, mv = points.reduce((t, p) => t + p[1], 0) / points.length;
        const ring = [...points].sort((p, q) => Math.atan2(p[1] - mv, p[0] - mu) - Math.atan2(q[1] - mv, q[0] - mu));
        stroke(pen, one.tone, 2, () => {
          ring.forEach((p) => pen.lineTo((p[0] + 0.5) * s, (p[1] + 0.5) * s));
          pen.closePath();
        });
      }
      pen.setLineDash([]);
      points.forEach((p, i) => {
        const x = (p[0] + 0.5) * s, y = (p[1] + 0.5) * s;
        stroke(pen, one.tone, 2, () => {
          pen.moveTo(x - 7, y); pen.lineTo(x - 2, y); pen.moveTo(x + 2, y); pen.lineTo(x + 7, y);
          pen.moveTo(x, y - 7); pen.lineTo(x, y - 2); pen.moveTo(x, y + 2); pen.lineTo(x, y + 7);
        });
        if (!marks) return;
        const word = one.most === 1 ? "12" : String(i + 1);
        pen.font = "600 14px system-ui, sans-serif";
        pen.lineWidth = 4; pen.strokeStyle = "#111"; pen.strokeText(word, x + 8, y - 8);
        pen.fillStyle = one.tone; pen.fillText(word, x + 8, y - 8);
      });
    }
  }
  // Where 12 o'clock is: the bed's middle, and the place that was named, else the outline's top.
  function noon() {
    const outline = steps.find((one) => one.outline && places[one.key].length >= one.least);
    if (!outline) return null;
    const points = places[outline.key], named = steps.filter((one) => one.most === 1).map((one) => places[one.key][0])[0];
    const fit = outline.round ? ellipse(points) : null;
    if (outline.round && !fit) return null;
    const mean = (k) => points.reduce((t, p) => t + p[k], 0) / points.length;
    const middle = fit ? [fit.u, fit.v] : [mean(0), mean(1)];
    const up = fit ? 1 / Math.hypot(Math.sin(fit.angle) / fit.long, Math.cos(fit.angle) / fit.short)
      : middle[1] - Math.min(...points.map((p) => p[1]));
    return { middle, top: named || [middle[0], middle[1] - up], named: Boolean(named) };
  }
  function clock(pen, s) {
    const found = noon();
    if (!found) return;
    const tone = steps[steps.length - 1].tone;
    pen.setLineDash([3, 5]);
    stroke(pen, tone, 1.5, () => {
      pen.moveTo((found.middle[0] + 0.5) * s, (found.middle[1] + 0.5) * s);
      pen.lineTo((found.top[0] + 0.5) * s, (found.top[1] + 0.5) * s);
    });
    pen.setLineDash([]);
    if (found.named) return; // its place has its own mark
    pen.font = "600 14px system-ui, sans-serif";
    pen.lineWidth = 4; pen.strokeStyle = "#111";
    const x = (found.top[0] + 0.5) * s + 8, y = (found.top[1] + 0.5) * s + 18;
    pen.strokeText("12 o'clock", x, y);
    pen.fillStyle = tone; pen.fillText("12 o'clock", x, y);
  }
  function draw() {
    const dense = window.devicePixelRatio || 1, s = scale();
    ink.width = Math.round(picture.clientWidth * dense);
    ink.height = Math.round(picture.clientHeight * dense);
    const pen = ink.getContext("2d");
    pen.scale(dense, dense);
    paint(pen, s, true);
    clock(pen, s);
  }
  function glass() {
    if (!pointer) { loupe.hidden = true; return; }
    const wide = loupe.width, s = scale(), zoom = Math.max(3, 4 * s), pen = loupe.getContext("2d");
    const place = dragged ? dragged.place : pointer;
    pen.setTransform(1, 0, 0, 1, 0, 0);
    pen.fillStyle = "#000";
    pen.fillRect(0, 0, wide, wide);
    pen.imageSmoothingEnabled = zoom < 6;
    pen.setTransform(zoom, 0, 0, zoom, wide / 2 - (place[0] + 0.5) * zoom, wide / 2 - (place[1] + 0.5) * zoom);
    pen.drawImage(picture, 0, 0, width, height);
    pen.setTransform(1, 0, 0, 1, wide / 2 - (place[0] + 0.5) * zoom, wide / 2 - (place[1] + 0.5) * zoom);
    paint(pen, zoom, false);
    pen.setTransform(1, 0, 0, 1, 0, 0);
    stroke(pen, "#fff", 1, () => {
      pen.moveTo(wide / 2, 0); pen.lineTo(wide / 2, wide / 2 - 6); pen.moveTo(wide / 2, wide / 2 + 6); pen.lineTo(wide / 2, wide);
      pen.moveTo(0, wide / 2); pen.lineTo(wide / 2 - 6, wide / 2); pen.moveTo(wide / 2 + 6, wide / 2); pen.lineTo(wide, wide / 2);
    });
    const x = (place[0] + 0.5) * s, y = (place[1] + 0.5) * s, gap = 34;
    const left = x > picture.clientWidth / 2 ? x - gap - wide : x + gap;
    loupe.style.left = Math.min(Math.max(left, 0), Math.max(0, picture.clientWidth - wide)) + "px";
    loupe.style.top = Math.max(y - gap - wide / 2, 0) + "px";
    loupe.hidden = false;
  }

  function words() {
    for (const one of steps) {
      const have = places[one.key].length;
      if (one.needed && have < one.least) return `${one.title}: ${one.least - have} more to go.`;
      if (!one.round && have && have < one.least) return `${one.title}: ${one.least - have} more to go.`;
      const wrong = one.round ? slip(places[one.key]) : null;
      if (wrong) return `${one.title}: place ${wrong.number} lies about ${wrong.far.toFixed(0)} px off the others. Drag it.`;
      if (one.round && have >= 5 && !ellipse(places[one.key])) return `${one.title}: these places make no ellipse yet. Spread them all round.`;
    }
    const short = steps.find((one) => one.wished && places[one.key].length < one.wished);
    if (short) return `Good enough to try. ${short.title}: ${short.wished} or more make it sure which way the camera leans.`;
    return "Ready: copy the line below.";
  }
  function enough() {
    return steps.some((one) => one.outline && places[one.key].length >= one.least)
      && steps.every((one) => one.round || one.most === 1 || !places[one.key].length || places[one.key].length === one.least);
  }
  function changed() {
    steps.forEach((one, i) => {
      const button = one.button;
      button.setAttribute("aria-pressed", String(i === step));
      const have = places[one.key].length;
      button.querySelector(".count").textContent = one.most === 1 ? (have ? "set" : "") : `${have} of ${one.round ? (one.wished || one.least) + "+" : one.least}`;
    });
    byId("status").textContent = words();
    const options = steps.flatMap((one) => places[one.key].map((p) => `--${one.option} ${told(p)}`));
    byId("line").value = [given.line, ...options].join(" ");
    byId("copy").disabled = !enough();
    byId("undo").disabled = order.length === 0;
    byId("clear").disabled = places[steps[step].key].length === 0;
    byId("next").disabled = step === steps.length - 1;
    byId("copied").textContent = "";
    keep();
    draw();
    glass();
  }
  function choose(index) { step = Math.min(Math.max(index, 0), steps.length - 1); changed(); }
  function undo() {
    const last = order[order.length - 1];
    if (!last) return;
    forget(last[0], last[1]);
    step = steps.findIndex((one) => one.key === last[0]);
    changed();
  }

  steps.forEach((one, i) => {
    const item = document.createElement("li"), button = document.createElement("button");
    button.type = "button";
    button.style.setProperty("--tone", one.tone);
    const head = document.createElement("b"), count = document.createElement("span"), what = document.createElement("span");
    count.className = "count"; what.className = "what"; what.textContent = one.what;
    head.append(`${i + 1}  ${one.title}`, count);
    button.append(head, what);
    button.addEventListener("click", () => choose(i));
    one.button = button;
    item.append(button);
    byId("steps").append(item);
  });

  function near(p) {
    const reach = 14 / scale();
    let best = null;
    for (const one of steps) for (const q of places[one.key]) {
      const far = Math.hypot(p[0] - q[0], p[1] - q[1]);
      if (far < reach && (!best || far < best.far)) best = { place: q, far };
    }
    return best;
  }
  ink.addEventListener("pointerdown", (event) => {
    if (event.button) return;
    event.preventDefault();
    ink.focus({ preventScroll: true });
    ink.setPointerCapture(event.pointerId);
    pointer = clip(at(event));
    const known = near(pointer);
    if (known) {
      dragged = { place: known.place, by: [known.place[0] - pointer[0], known.place[1] - pointer[1]] };
    } else {
      add(steps[step].key, pointer, false);
      dragged = { place: pointer, by: [0, 0] };
    }
    changed();
  });
  ink.addEventListener("pointermove", (event) => {
    pointer = clip(at(event));
    if (dragged) {
      const p = clip([pointer[0] + dragged.by[0], pointer[1] + dragged.by[1]]);
      dragged.place[0] = p[0]; dragged.place[1] = p[1];
      draw();
    }
    glass();
  });
  const release = (event) => {
    if (dragged) { dragged = null; changed(); }
    if (event.pointerType !== "mouse") { pointer = null; glass(); }
  };
  ink.addEventListener("pointerup", release);
  ink.addEventListener("pointercancel", release);
  ink.addEventListener("pointerleave", () => { if (!dragged) { pointer = null; glass(); } });
  document.addEventListener("keydown", (event) => {
    if (event.target.tagName === "TEXTAREA" || event.ctrlKey && event.key !== "z") return;
    const way = { ArrowLeft: [-0.5, 0], ArrowRight: [0.5, 0], ArrowUp: [0, -0.5], ArrowDown: [0, 0.5] }[event.key];
    const last = order[order.length - 1];
    if (way && last && document.activeElement === ink) {
      event.preventDefault();
      const p = clip([last[1][0] + way[0], last[1][1] + way[1]]);
      last[1][0] = p[0]; last[1][1] = p[1];
      pointer = [...last[1]];
      changed();
    } else if (event.key === "z") undo();
    else if (/^[1-9]$/.test(event.key) && +event.key <= steps.length) choose(+event.key - 1);
  });
  byId("undo").addEventListener("click", undo);
  byId("next").addEventListener("click", () => choose(step + 1));
  byId("clear").addEventListener("click", () => {
    for (const p of [...places[steps[step].key]]) forget(steps[step].key, p);
    changed();
  });
  byId("copy").addEventListener("click", async () => {
    const line = byId("line");
    let done = false;
    try { await navigator.clipboard.writeText(line.value); done = true; } catch { line.select(); done = document.execCommand("copy"); }
    byId("copied").textContent = done ? "Copied." : "Select the line and copy it.";
  });
  window.addEventListener("resize", () => { draw(); glass(); });
  if (!location.hash) for (const one of steps) for (const p of one.given || []) add(one.key, p, false);
  read();
  const start = () => changed();
  if (picture.complete) start(); else picture.addEventListener("load", start);
})();
