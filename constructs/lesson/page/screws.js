/* Screws as they are told apart: the head and washer, and thread where the screw has it. */
const ACTS = ["lag", "position", "unlocked", "locked"], HEAD = 2.6, WASHER = 1, CLEAR = 0.3;
const DARK = "#003D2C";

/* The stretch of a line from a to b, as shares of its length. */
function stretch(points, a, b) {
  const s = [0];
  points.slice(1).forEach((p, i) => s.push(s[i] + Math.hypot(p[0] - points[i][0], p[1] - points[i][1])));
  const all = s[s.length - 1], at = (share) => {
    const i = Math.max(1, s.findIndex((x) => x >= share * all - 1e-9));
    const f = (share * all - s[i - 1]) / (s[i] - s[i - 1]);
    return [0, 1].map((k) => points[i - 1][k] + f * (points[i][k] - points[i - 1][k]));
  };
  return [at(a), ...points.filter((p, i) => s[i] > a * all && s[i] < b * all), at(b)];
}

/* How wide head and washer of a screw may be drawn: they end halfway to the next axis. */
const roomAcross = (members) => (m) => Math.min(...members.filter((o) => o !== m && o.screw)
  .map((o) => Math.hypot(o.points[0][0] - m.points[0][0], o.points[0][1] - m.points[0][1]) - CLEAR), Infinity);

/* Corners of a box across an axis, from `a` to `b` along it. */
const boxAt = ([x, y], [ux, uy], wide, a, b) => [[a, -1], [a, 1], [b, 1], [b, -1]]
  .map(([s, side]) => [x + s * ux - 0.5 * side * wide * uy, y + s * uy + 0.5 * side * wide * ux]);

/* A screw along its line as seen: a smooth shaft, teeth where there is thread; the head of a free
   screw is a light dome on its plate or washer, that of a locked one dark and threaded in its plate. */
function drawScrew(parent, m, there, opacity, room) {
  const { acts, head, washer, shaft, core, thread, pitch } = m.screw;
  const length = m.points.slice(1).reduce((s, p, i) => s + Math.hypot(p[0] - m.points[i][0], p[1] - m.points[i][1]), 0);
  const from = Math.min(Math.max(thread[0] / length, 0), 1), to = Math.min(thread[1] / length, 1);
  const group = make(parent, "g", { opacity, class: "metal", "data-acts": acts });
  const line = (a, b, width, extra) => b - a > 1e-6 && make(group, "path", { d: path(stretch(there, a, b)),
    fill: "none", stroke: COLOUR.screw, "stroke-width": width, "stroke-linejoin": "round", ...extra });
  line(0, from, shaft, { class: "shank" });
  line(from, to, Math.max(core, LEAST_WIDE), {});
  line(from, to, m.width, { class: "thread", "stroke-dasharray": f2(0.5 * pitch) + " " + f2(0.5 * pitch) });
  if (!head) return;
  const n = Math.hypot(there[1][0] - there[0][0], there[1][1] - there[0][1]);
  const out = [0, 1].map((k) => (there[0][k] - there[1][k]) / n), base = washer ? WASHER : 0;
  if (washer) make(group, "path", { class: "washer", d: path(boxAt(there[0], out, Math.min(washer, room), 0, WASHER), true),
    fill: COLOUR.screw });
  const wide = Math.min(head, room);
  if (acts === "locked") {
    make(group, "path", { class: "head", d: path(boxAt(there[0], out, wide, -0.6 * HEAD, 0.6 * HEAD), true), fill: DARK,
      stroke: "#fff", "stroke-width": 0.35 });
    for (const s of [-0.3, 0, 0.3]) {
      const [a, b] = boxAt(there[0], out, 0.8 * wide, s * HEAD, s * HEAD);
      make(group, "path", { d: path([a, b]), stroke: "#fff", "stroke-width": 0.4 });
    }
    return;
  }
  const [a, b, c, d] = boxAt(there[0], out, wide, base, base + HEAD);
  const [x1, y1, x2, y2] = [...c, ...d].map((v, i) => f2(i % 2 ? -v : v));
  make(group, "path", { class: "head", d: path([a, b]) + "C" + [x1, y1, x2, y2].join(" ") + " " + f2(a[0]) + " " + f2(-a[1]) + "Z",
    fill: "#fff", stroke: COLOUR.screw, "stroke-width": 0.7 });
}

/* A small screw of a kind, lying at a place. */
function drawSample(parent, acts, [x, y], long) {
  const plate = acts === "locked" || acts === "unlocked", start = x + HEAD + 0.4, end = x + long;
  if (plate) make(parent, "path", { d: path([[start, y - 2.4], [start, y + 2.4]]), stroke: COLOUR.plate,
    "stroke-width": 1.8, fill: "none" });
  drawScrew(parent, { points: [[start, y], [end, y]], width: 2.8, screw: { acts, head: 3.4, washer: 0, shaft: 1.7,
    core: 1.5, thread: [acts === "lag" ? 0.55 * (end - start) : 0, end - start], pitch: 1 } },
  [[start, y], [end, y]], 1, Infinity);
}

/* Where a line passes through a band of heights: x of its points in it and of where it enters. */
const crossings = (points, low, high) => points.flatMap((p, i) => {
  const q = points[(i + 1) % points.length], out = p[1] >= low && p[1] <= high ? [p[0]] : [];
  for (const y of [low, high]) {
    if ((p[1] - y) * (q[1] - y) < 0) out.push(p[0] + (y - p[1]) / (q[1] - p[1]) * (q[0] - p[0]));
  }
  return out;
});
