/* Drawing: the section with its movement, the free body of the fragment, the polygon of its forces. */
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

const LEAST_WIDE = 0.8, LONG = 16;   // of a line that is seen [mm], and of a name [letters]
const ROOM = 2.3;                    // lines of words above the loads, on paper
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

/* A place of the section as seen, or a force: the only function that mirrors. In the data x points
   lateral (posterior) for either knee; a right one seen from the front has lateral on the left. */
const asSeen = (scene, [x, y]) => [scene.view.sign * x, y];

/* The name of a screw or wire, along it, above or below: where it covers least of the other `lines`
   and of the names already `put`; a long one is cut. */
function label(parent, name, points, width, put, lines, size) {
  const [a, b] = [points[0], points[points.length - 1]], [left, right] = a[0] < b[0] ? [a, b] : [b, a];
  const slope = Math.atan2(right[1] - left[1], right[0] - left[0]), head = a === left ? 1 : -1;
  const words = name.length > LONG ? name.slice(0, LONG - 1) + "…" : name;
  const up = 0.5 * Math.max(width, LEAST_WIDE) + 0.7, long = 0.56 * size * words.length;
  const way = [Math.cos(slope), Math.sin(slope)], end = head > 0 ? -1 : 1;
  const places = [up, -up - 0.75 * size].flatMap((off, k) => [0.05, 0.25, 0.45, 0.65].map((t, i) => {
    const at = [b[0] - t * (b[0] - a[0]) - off * way[1], b[1] - t * (b[1] - a[1]) + off * way[0]];
    const middles = [0.1, 0.3, 0.5, 0.7, 0.9].map((s) => [0, 1].map((j) => at[j] + end * s * long * way[j] +
      0.35 * size * (j ? way[0] : -way[1])));
    const over = middles.filter((m) => put.some((q) => Math.hypot(q[0] - m[0], q[1] - m[1]) < size)).length +
      middles.filter((m) => lines.some((l) => distance(m, l) < 0.5 * l.width + 0.45 * size)).length;
    return { at, middles, cost: 3 * over + 0.5 * k + 0.1 * i };
  }));
  const { at: [x, y], middles } = places.reduce((best, p) => (p.cost < best.cost ? p : best));
  put.push(...middles);
  make(parent, "text", { x: f2(x), y: f2(-y), "font-size": f2(size), fill: "#004d3a", "paint-order": "stroke",
    stroke: "#fff", "stroke-width": 0.7, "stroke-linejoin": "round", "text-anchor": head > 0 ? "end" : "start",
    transform: "rotate(" + [-slope * 180 / Math.PI, x, -y].map(f2).join(" ") + ")", class: "screw" },
  words);
}

function drawSection(svg, now) {
  const k = now.magnified, see = (p) => asSeen(now.scene, p);
  const seen = (parts) => parts.map((p) => ({ ...p, at: p.points, points: p.points.map(see) }));
  const rings = seen(now.geometry.rings), members = now.geometry.members;
  svg.replaceChildren();
  const type = (size) => now.type || lesson.type || size;   // on paper all words have one size
  const told = legendOf(now), extra = Math.max(told.extra, now.extra || 0), low = now.low, high = type(0) ? 14 + ROOM * type(0) : 20;
  const [left, right] = sidesOf(now).map((x, i) => x + (told.first === !i ? (i ? extra : -extra) : 0));
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
    const there = r.at.map((p) => see(moved(now.motions[i], p, now.held ? k : now.amplitude)));
    make(svg, "path", { d: path(there, true), fill: FILL.fragment, "fill-opacity": 0.85,
      stroke: now.fails ? "#A63C00" : "#5c4712", "stroke-width": now.fails ? 0.9 : 0.6,
      "stroke-dasharray": now.fails ? "2 1.2" : "none" });
    make(svg, "path", { d: path(r.points, true), fill: "none", stroke: "#222",
      "stroke-width": 0.4, "stroke-dasharray": "1.4 1" });
    if (!now.held) {
      const c = [0, 1].map((a) => r.at.reduce((s, p) => s + p[a], 0) / r.at.length);
      arrow(svg, see(c), see(moved(now.motions[i], c, 1.6 * now.amplitude)), "#A63C00", "", 1, 3.5);
    }
  });
  const across = roomAcross(members);
  for (const m of [...members].sort((a, b) => (a.kind !== "plate") - (b.kind !== "plate"))) {
    make(svg, "path", { d: path(m.points.map(see)), fill: "none", stroke: "#777", "stroke-width": 0.35,
      "stroke-dasharray": "1.4 1" });
    const there = m.points.map(([x, y], i) => now.held
      ? [x + k * now.state[m.at + 2 * i], y + k * now.state[m.at + 2 * i + 1]] : [x, y]).map(see);
    const opacity = now.held ? 0.92 : 0.5;
    if (m.screw) drawScrew(svg, m, there, opacity, across(m));
    else make(svg, "path", { d: path(there), fill: "none", stroke: COLOUR[m.kind] || "#444",
      "stroke-width": Math.max(m.width, LEAST_WIDE), "stroke-opacity": opacity,
      "stroke-linecap": "round", "stroke-linejoin": "round" });
  }
  const put = [];
  const pins = members.filter((x) => x.kind !== "plate").map((m) => ({ m, points: m.points.map(see) }));
  for (const { m, points } of pins) {
    label(svg, named(m.name), points, m.width, put, pins.filter((o) => o.m !== m).map((o) => ({ from: o.points[0],
      to: o.points[o.points.length - 1], width: o.m.width })), type(3.1));
  }
  const turn = now.scene.direction * Math.PI / 180;
  for (const [a, b, share] of now.scene.patches) {
    if (share <= 0) continue;
    const size = 3 + 9 * share * now.load / now.scene.load[1];
    for (const t of [0.15, 0.5, 0.85]) {
      const x = a + t * (b - a);
      arrow(svg, see([x - size * Math.sin(turn), 1 + size * Math.cos(turn)]), see([x, 0.8]), "#000",
        "", 0.8, 2.6);
    }
    make(svg, "text", { x: f2(see([0.5 * (a + b), 0])[0]), y: -14.6, "font-size": type(4), "text-anchor": "middle" },
      newton(share * now.load));
  }
  const bar = told.first ? left + 3 : right - told.long + LEGEND.edge;
  make(svg, "path", { d: path([[bar, low + 5], [bar + 10, low + 5]]), stroke: "#000", "stroke-width": 0.8 });
  make(svg, "text", { x: f2(bar), y: f2(-low - 7), "font-size": type(3.6) }, t("scale"));
  drawLegend(svg, told, [left, right]);
  const { hands, mark } = now.scene.view, outer = hands.indexOf("lateral");
  hands.forEach((name, i) => make(svg, "text", { x: f2(i ? right - 1 : left + 1),
    y: f2(-high + 0.7 + type(3.8)), "font-size": type(3.8), fill: "#333", "text-anchor": i ? "end" : "start" }, t("side." + name)));
  // The side marker of a radiograph, on the lateral side.
  make(svg, "text", { x: f2(outer > 0 ? right - 1 : left + 1), y: f2(-high + 1.5 + type(3.8) + type(4.6)), "font-size": type(4.6),
    "font-weight": "700", "text-anchor": outer > 0 ? "end" : "start", class: "mark" }, mark);
}

/* The legend of the screws that are in place: what they are, and where beside the shaft there is most
   room for it; `extra` is how much wider the picture has to be. */
const LEGEND = { row: 1.67, icon: 9.5, gap: 1.2, edge: 2, above: 11 };
function legendOf(now) {
  const { rings } = now.geometry, members = now.type ? [] : now.geometry.members, { icon, gap, edge, above } = LEGEND;
  const size = lesson.type || 3.6, row = LEGEND.row * size;
  const kinds = ACTS.filter((k) => members.some((m) => m.screw && m.screw.acts === k));
  const words = kinds.map((k) => t("legend." + k)), low = now.low + above, high = low + row * kinds.length;
  const seen = (p) => asSeen(now.scene, p), [left, right] = sidesOf(now);
  const xs = [...rings, ...members].flatMap((d) => crossings(d.points.map(seen), now.low + 1, high + 2));
  const long = 2 * edge + Math.max(10, 0.56 * (now.type || 3.6) * t("scale").length,
    ...words.map((w) => icon + gap + 0.56 * size * w.length));
  const room = [Math.min(...xs) - left, right - Math.max(...xs)], first = room[0] >= Math.min(long, room[1]);
  return { kinds, words, low, first, size, row, extra: Math.max(0, long - room[first ? 0 : 1]), long };
}

/* From where to where the bone reaches as seen, with room beside it. */
function sidesOf(now) {
  const xs = now.geometry.rings.flatMap((r) => r.points.map((p) => asSeen(now.scene, p)[0]));
  return [Math.min(...xs) - 14, Math.max(...xs) + 14];
}

function drawLegend(svg, { kinds, words, low, first, long, size, row }, [left, right]) {
  const { icon, gap, edge } = LEGEND, x = first ? left + edge : right - long + edge;
  const group = make(svg, "g", { class: "legend" });
  kinds.forEach((kind, i) => {
    const y = low + row * (kinds.length - i - 0.5);
    drawSample(group, kind, [x, y], icon);
    make(group, "text", { x: f2(x + icon + gap), y: f2(-y + 0.36 * size), "font-size": size, fill: "#222" }, words[i]);
  });
}
