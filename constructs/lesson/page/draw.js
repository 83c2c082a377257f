/* Drawing: the section with its movement, the fragment cut free, the polygon of its forces. */
const SVG = "http://www.w3.org/2000/svg";
const COLOUR = { load: "#000000", fracture: "#D55E00", plate: "#0072B2", screw: "#00785A",
  wire: "#A0447C", graft: "#8A6100" };
const DASH = ["", "9 4", "3 3", "10 3 2 3"];
const FILL = { shaft: "#EDE6D6", fragment: "#E3C99A", graft: "#F3C97B" };

function make(parent, name, attributes, text) {
  const e = document.createElementNS(SVG, name);
  for (const k in attributes) e.setAttribute(k, attributes[k]);
  if (text !== undefined) e.textContent = text;
  parent.appendChild(e);
  return e;
}

const f2 = (x) => x.toFixed(2);
const path = (points, closed) =>
  "M" + points.map(([x, y]) => f2(x) + " " + f2(-y)).join("L") + (closed ? "Z" : "");

function arrow(parent, from, to, colour, dash, width, head) {
  const dx = to[0] - from[0], dy = to[1] - from[1], n = Math.hypot(dx, dy);
  if (n < 1e-6) return;
  const ux = dx / n, uy = dy / n, h = Math.min(head, 0.6 * n);
  const base = [to[0] - ux * h, to[1] - uy * h];
  make(parent, "path", { d: path([from, base]), stroke: colour, "stroke-width": width,
    "stroke-dasharray": dash ? dash.split(" ").map((d) => d * width * 0.45).join(" ") : "none",
    fill: "none" });
  make(parent, "path", { fill: colour, d: path([to, [base[0] - uy * h * 0.42, base[1] + ux * h * 0.42],
    [base[0] + uy * h * 0.42, base[1] - ux * h * 0.42]], true) });
}

function badge(parent, at, number, colour, size) {
  make(parent, "circle", { cx: f2(at[0]), cy: f2(-at[1]), r: f2(size * 0.72), fill: "#fff",
    stroke: colour, "stroke-width": f2(size * 0.12) });
  make(parent, "text", { x: f2(at[0]), y: f2(-at[1] + size * 0.36), "font-size": f2(size),
    "text-anchor": "middle", fill: colour, "font-weight": "700" }, String(number));
}

/* Rigid motion (x, y of the origin, turn) of a point. */
const moved = (m, [x, y], k) => [x + k * (m[0] - m[2] * y), y + k * (m[1] + m[2] * x)];

function largestMove(rings, motions) {
  let most = 0;
  rings.filter((r) => r.kind === "fragment").forEach((r, k) => {
    for (const [x, y] of r.points) {
      const m = motions[k];
      most = Math.max(most, Math.hypot(m[0] - m[2] * y, m[1] + m[2] * x));
    }
  });
  return most;
}

function drawSection(svg, now) {
  const { rings, members } = now.geometry, k = now.magnified;
  svg.replaceChildren();
  const xs = rings.flatMap((r) => r.points.map((p) => p[0]));
  const low = now.low, left = Math.min(...xs) - 14, right = Math.max(...xs) + 14, high = 20;
  svg.setAttribute("viewBox", [left, -high, right - left, high - low].map(f2).join(" "));
  for (const r of rings.filter((q) => q.kind === "shaft")) {
    make(svg, "path", { d: path(r.points, true), fill: FILL.shaft, stroke: "#6b6250",
      "stroke-width": 0.5 });
  }
  for (const r of rings.filter((q) => q.kind === "graft")) {
    make(svg, "path", { d: path(r.points, true), fill: FILL.graft, stroke: "#8A6100",
      "stroke-width": 0.5, "stroke-dasharray": "1 0.6" });
  }
  rings.filter((q) => q.kind === "fragment").forEach((r, i) => {
    const there = r.points.map((p) => moved(now.motions[i], p, now.held ? k : now.amplitude));
    make(svg, "path", { d: path(there, true), fill: FILL.fragment, "fill-opacity": 0.85,
      stroke: now.held ? "#5c4712" : "#A63C00", "stroke-width": now.held ? 0.6 : 0.9,
      "stroke-dasharray": now.held ? "none" : "2 1.2" });
    make(svg, "path", { d: path(r.points, true), fill: "none", stroke: "#222",
      "stroke-width": 0.4, "stroke-dasharray": "1.4 1" });
    if (!now.held) {
      const c = [0, 1].map((a) => r.points.reduce((s, p) => s + p[a], 0) / r.points.length);
      arrow(svg, c, moved(now.motions[i], c, 1.6 * now.amplitude), "#A63C00", "", 1, 3.5);
    }
  });
  members.forEach((m) => {
    const colour = COLOUR[m.kind] || "#444", width = Math.max(m.width, 1.4);
    make(svg, "path", { d: path(m.points), fill: "none", stroke: "#777", "stroke-width": 0.35,
      "stroke-dasharray": "1.4 1" });
    const there = m.points.map(([x, y], i) => now.held
      ? [x + k * now.state[m.at + 1 + 2 * i], y + k * now.state[m.at + 2 + 2 * i]] : [x, y]);
    make(svg, "path", { d: path(there), fill: "none", stroke: colour, "stroke-width": width,
      "stroke-opacity": now.held ? 0.9 : 0.45, "stroke-linecap": "round",
      "stroke-linejoin": "round" });
  });
  const turn = now.scene.direction * Math.PI / 180;
  for (const [a, b, share] of now.scene.patches) {
    if (share <= 0) continue;
    const size = 3 + 9 * share * now.load / now.scene.load[1];
    for (const t of [0.15, 0.5, 0.85]) {
      const x = a + t * (b - a);
      arrow(svg, [x - size * Math.sin(turn), 1 + size * Math.cos(turn)], [x, 0.8], "#000", "", 0.8,
        2.6);
    }
    make(svg, "text", { x: f2(0.5 * (a + b)), y: -14.6, "font-size": 4, "text-anchor": "middle" },
      Math.round(share * now.load) + " N");
  }
  make(svg, "path", { d: path([[left + 3, low + 5], [left + 13, low + 5]]), stroke: "#000",
    "stroke-width": 0.8 });
  make(svg, "text", { x: f2(left + 3), y: f2(-low - 7), "font-size": 3.6 }, "10 mm");
  make(svg, "text", { x: f2(left + 1), y: f2(-high + 4.5), "font-size": 3.8, fill: "#333" },
    now.scene.sides[0]);
  make(svg, "text", { x: f2(right - 1), y: f2(-high + 4.5), "font-size": 3.8, fill: "#333",
    "text-anchor": "end" }, now.scene.sides[1]);
}

/* Forces on the shown fragment that are worth an arrow. */
function forcesOn(now) {
  const { layout } = now.family, seen = {};
  if (!now.held) return [];
  return layout.sources.map((s, j) => {
    const at = layout.force[now.fragment][j];
    const [x, y, m] = [0, 1, 2].map((i) => now.state[at + i]);
    return { ...s, force: [x, y], moment: m, size: Math.hypot(x, y),
      near: now.geometry.near[now.fragment][j] };
  }).filter((f) => f.size > 0.01 * now.load).map((f, i) => {
    const number = seen[f.kind] = (seen[f.kind] === undefined ? -1 : seen[f.kind]) + 1;
    const [x, y] = f.force, [px, py] = f.near;
    const t = (f.moment - (px * y - py * x)) / (x * x + y * y);
    return { ...f, number: i + 1, colour: COLOUR[f.kind] || "#444",
      dash: DASH[number % DASH.length], point: [px - t * y, py + t * x] };
  });
}

function drawFree(svg, now, forces) {
  svg.replaceChildren();
  const ring = now.geometry.rings.filter((r) => r.kind === "fragment")[now.fragment].points;
  const points = ring.slice();
  const most = Math.max(...forces.map((f) => f.size), 1), scale = 26 / most;
  const lines = forces.map((f) => {
    const far = [f.force[0] * scale, f.force[1] * scale];
    // A push ends on the fragment; what leads away from it begins there.
    const from = [f.point[0] - far[0], f.point[1] - far[1]];
    return { ...f, from, to: f.point };
  });
  lines.forEach((l) => points.push(l.from, l.to));
  const [left, right, low, high] = bounds(points, 6);
  svg.setAttribute("viewBox", [left, -high, right - left, high - low].map(f2).join(" "));
  const unit = Math.max(right - left, high - low) / 100;
  make(svg, "path", { d: path(ring, true), fill: FILL.fragment, stroke: "#5c4712",
    "stroke-width": f2(0.6 * unit) });
  if (!now.held) {
    make(svg, "text", { x: f2((left + right) / 2), y: f2(-(low + high) / 2), "font-size":
      f2(6 * unit), "text-anchor": "middle", "font-weight": "700", fill: "#A63C00" },
    "not held");
    return;
  }
  for (const l of lines) {
    arrow(svg, l.from, l.to, l.colour, l.dash, 1.3 * unit, 5 * unit);
    badge(svg, l.from, l.number, l.colour, 5.2 * unit);
  }
}

function bounds(points, margin) {
  const xs = points.map((p) => p[0]), ys = points.map((p) => p[1]);
  return [Math.min(...xs) - margin, Math.max(...xs) + margin, Math.min(...ys) - margin,
    Math.max(...ys) + margin];
}

function drawPolygon(svg, now, forces) {
  svg.replaceChildren();
  if (!now.held) {
    svg.setAttribute("viewBox", "0 0 100 40");
    make(svg, "text", { x: 50, y: 16, "font-size": 5, "text-anchor": "middle", fill: "#A63C00",
      "font-weight": "700" }, "No polygon closes:");
    make(svg, "text", { x: 50, y: 24, "font-size": 5, "text-anchor": "middle", fill: "#A63C00" },
      "no forces within their limits balance the load.");
    return null;
  }
  let at = [0, 0];
  const chain = forces.map((f) => {
    const from = at;
    at = [at[0] + f.force[0], at[1] + f.force[1]];
    return { ...f, from, to: at };
  });
  const [left, right, low, high] = bounds(chain.flatMap((c) => [c.from, c.to]), 0);
  const size = Math.max(right - left, high - low, 1), unit = size / 70;
  svg.setAttribute("viewBox", [left - 12 * unit, -high - 9 * unit, right - left + 24 * unit,
    high - low + 18 * unit].map(f2).join(" "));
  for (const c of chain) {
    arrow(svg, c.from, c.to, c.colour, c.dash, 1.4 * unit, 4.5 * unit);
    const n = Math.hypot(c.force[0], c.force[1]);
    if (n < 0.12 * size) continue;
    const off = [-c.force[1] / n * 5.5 * unit, c.force[0] / n * 5.5 * unit];
    badge(svg, [(c.from[0] + c.to[0]) / 2 + off[0], (c.from[1] + c.to[1]) / 2 + off[1]], c.number,
      c.colour, 5 * unit);
  }
  make(svg, "circle", { cx: 0, cy: 0, r: f2(1.6 * unit), fill: "#000" });
  return Math.hypot(at[0], at[1]);
}
