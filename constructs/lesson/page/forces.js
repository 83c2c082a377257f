/* The free body of the fragment and the polygon of its forces, drawn in pixels of the screen. */

/* Forces on the shown fragment that are worth an arrow. `point`: of the force's line of action,
   the one nearest to where its source acts. */
function forcesOn(now) {
  const { layout } = now, seen = {};
  if (!now.held) return [];
  return layout.sources.map((s, j) => {
    const at = layout.force[now.fragment][j];
    const [x, y, m] = [0, 1, 2].map((i) => now.state[at + i]);
    return { ...s, force: [x, y], moment: m, size: Math.hypot(x, y),
      near: now.geometry.near[now.fragment][j] };
  }).filter((f) => f.size > 0.01 * now.load).map((f, i) => {
    const number = seen[f.kind] = (seen[f.kind] === undefined ? -1 : seen[f.kind]) + 1;
    const [x, y] = f.force, [px, py] = f.near;
    const t = ((px * y - py * x) - f.moment) / (x * x + y * y);
    return { ...f, number: i + 1, colour: COLOUR[f.kind] || "#444",
      dash: DASH[number % DASH.length], point: [px - t * y, py + t * x] };
  });
}

/* Where a force's line of action enters an outline, going the force's way; null where it passes
   it. */
function entry(ring, f) {
  const [ux, uy] = f.force.map((c) => c / f.size), [px, py] = f.point;
  let first = Infinity;
  ring.forEach(([ax, ay], i) => {
    const [bx, by] = ring[(i + 1) % ring.length], ex = bx - ax, ey = by - ay;
    const cross = ux * ey - uy * ex;
    if (Math.abs(cross) < 1e-12) return;
    const t = ((ax - px) * uy - (ay - py) * ux) / cross;
    if (t >= 0 && t <= 1) first = Math.min(first, ((ax - px) * ey - (ay - py) * ex) / cross);
  });
  return first < Infinity ? [px + first * ux, py + first * uy] : null;
}

/* Whether a point is in an outline. */
const inside = (ring, [x, y]) => ring.reduce((odd, [ax, ay], i) => {
  const [bx, by] = ring[(i + 1) % ring.length];
  return (ay > y) !== (by > y) && x < ax + (y - ay) / (by - ay) * (bx - ax) ? !odd : odd;
}, false);

/* Where a force's arrow ends: of what holds from inside the point next to it, of what presses from
   outside where its line enters; null where the line passes the fragment by. */
const tipOf = (ring, f) => ((f.kind === "screw" || f.kind === "wire") && inside(ring, f.point)
  ? f.point : entry(ring, f));

function bounds(points) {
  const xs = points.map((p) => p[0]), ys = points.map((p) => p[1]);
  return [Math.min(...xs), Math.max(...xs), Math.min(...ys), Math.max(...ys)];
}

/* Makes an svg's units pixels; `to` takes a point to its place there (y up, as `path` wants it),
   as the section of the scene is seen. */
function canvas(svg, scene, points, room) {
  svg.replaceChildren();
  const width = svg.clientWidth || 380, height = svg.clientHeight || 150;
  const em = (parseFloat(getComputedStyle(svg).fontSize) || 15) * (lesson.type ? 1.45 : 1);   // on paper
  svg.setAttribute("viewBox", "0 0 " + width + " " + height);
  const [left, right, low, high] = bounds(points.map((p) => asSeen(scene, p))), edge = room * em;
  const scale = Math.min((width - 2 * edge) / Math.max(right - left, 1e-9),
    (height - 2 * edge) / Math.max(high - low, 1e-9));
  const to = (p) => {
    const [x, y] = asSeen(scene, p);
    return [width / 2 + (x - (left + right) / 2) * scale,
      -height / 2 + (y - (low + high) / 2) * scale];
  };
  return { svg, em, width, height, to, scale };
}

function say(board, texts, colour, bold) {
  texts.forEach((text, i) => make(board.svg, "text", { x: f2(board.width / 2), fill: colour,
    y: f2(board.height / 2 + (i - (texts.length - 1) / 2 + 0.35) * 1.35 * board.em),
    "font-size": f2(1.05 * board.em), "text-anchor": "middle", "paint-order": "stroke",
    "font-weight": i < bold ? "700" : "400", stroke: "#fff", "stroke-width": f2(0.25 * board.em),
    "stroke-linejoin": "round" }, text));
}

const distance = ([x, y], { from: [ax, ay], to: [bx, by] }) => {
  const ex = bx - ax, ey = by - ay, n = ex * ex + ey * ey;
  const t = n ? Math.min(Math.max(((x - ax) * ex + (y - ay) * ey) / n, 0), 1) : 0;
  return Math.hypot(ax + t * ex - x, ay + t * ey - y);
};

/* Arrows [{from, to, colour, dash, number}] in pixels, each with its number next to it, clear of
   the other arrows and numbers; a number that stands off is tied to its arrow by a thin line. */
function numbered(board, arrows, tailFirst) {
  const { svg, em, width, height } = board, r = 0.66 * em, put = [];
  const length = (a) => Math.hypot(a.to[0] - a.from[0], a.to[1] - a.from[1]);
  const order = arrows.slice().sort((a, b) => length(b) - length(a));
  for (const a of order) {   // short ones last, on top
    const bare = Math.max(1 - em / (length(a) || 1), 0);
    if (tailFirst) make(svg, "path", { d: path([a.from, [0, 1].map((k) => a.from[k] + bare * (a.to[k] - a.from[k]))]),
      stroke: "#fff", fill: "none", "stroke-width": f2(0.34 * em) });
    arrow(svg, a.from, a.to, a.colour, a.dash, 0.17 * em, 0.62 * em);
  }
  for (const a of order.reverse()) {   // they have the least room
    const n = length(a) || 1, u = [(a.to[0] - a.from[0]) / n, (a.to[1] - a.from[1]) / n];
    let best = null;
    const weigh = (spot, extra) => {
      const outside = Math.max(r - spot[0], spot[0] + r - width, r + spot[1], -height - spot[1] + r,
        0);
      const cost = extra + 30 * outside / r +
        put.reduce((s, p) => s + 9 * Math.max(0, 2.2 - Math.hypot(p[0] - spot[0],
          p[1] - spot[1]) / r), 0) +
        arrows.reduce((s, b) => s + 7 * Math.max(0, 1.35 - distance(spot, b) / r), 0);
      if (!best || cost < best.cost) best = { cost, spot };
    };
    [1.5, 2.2, 3.2, 4.6].forEach((far) => {
      const away = far - 1.5;
      weigh([a.from[0] - u[0] * far * r, a.from[1] - u[1] * far * r], away + (tailFirst ? 0 : 1));
      [0.5, 0.3, 0.7, 0, 1].forEach((t, k) => [1, -1].forEach((side) => weigh(
        [a.from[0] + t * n * u[0] - side * u[1] * far * r,
          a.from[1] + t * n * u[1] + side * u[0] * far * r], away + 0.2 * k + (tailFirst ? 1 : 0))));
    });
    put.push(best.spot);
    if (distance(best.spot, a) > 1.8 * r) {
      const middle = [(a.from[0] + a.to[0]) / 2, (a.from[1] + a.to[1]) / 2];
      make(svg, "path", { d: path([best.spot, middle]), stroke: a.colour, fill: "none",
        "stroke-width": f2(0.06 * em) });
    }
    badge(svg, best.spot, a.number, a.colour, 0.92 * em);
  }
}

function drawFree(svg, now, forces) {
  const ring = now.geometry.rings.filter((r) => r.kind === "fragment")[now.fragment].points;
  const [left, right, low, high] = bounds(ring);
  const longest = Math.max(0.45 * Math.max(right - left, high - low), 14);
  const scale = longest / Math.max(...forces.map((f) => f.size), 1);
  const lines = forces.map((f) => {
    const tip = tipOf(ring, f), to = tip || f.point;
    return { ...f, to, from: [to[0] - f.force[0] * scale, to[1] - f.force[1] * scale],
      beside: !tip };
  });
  const board = canvas(svg, now.scene, ring.concat(lines.flatMap((l) => [l.from, l.to])), now.held ? 1.7 : 0.5);
  const { to, em } = board;
  make(svg, "path", { d: path(ring.map(to), true), fill: FILL.fragment, stroke: "#5c4712",
    "stroke-width": f2(0.1 * em) });
  if (!now.held) {
    say(board, [t(now.fails ? "free.fails" : "free.unknown")], now.fails ? "#A63C00" : "#333", 1);
    return;
  }
  for (const l of lines.filter((x) => x.beside)) {   // its line, where it passes the fragment by
    make(svg, "path", { d: path([to(l.to), to(l.near)]), stroke: l.colour, fill: "none",
      "stroke-width": f2(0.08 * em), "stroke-dasharray": f2(0.2 * em) });
  }
  numbered(board, lines.map((l) => ({ ...l, from: to(l.from), to: to(l.to) })), true);
}

function drawPolygon(svg, now, forces) {
  if (!now.held) {
    const words = t(now.fails ? "polygon.fails" : "polygon.unknown").split("|");
    say(canvas(svg, now.scene, [[0, 0]], 0), words, now.fails ? "#A63C00" : "#333", 1);
    return null;
  }
  let at = [0, 0];
  const chain = forces.map((f) => {
    const from = at;
    at = [at[0] + f.force[0], at[1] + f.force[1]];
    return { ...f, from, to: at };
  });
  const board = canvas(svg, now.scene, chain.flatMap((c) => [c.from, c.to]), 1.7);
  numbered(board, chain.map((c) => ({ ...c, from: board.to(c.from), to: board.to(c.to) })), false);
  const start = board.to([0, 0]);
  make(svg, "circle", { cx: f2(start[0]), cy: f2(-start[1]), r: f2(0.2 * board.em), fill: "#000" });
  return Math.hypot(at[0], at[1]);
}
