/* From a problem and its settings to a solved state, as plain data: no page is needed here. */
const LEAST_FRICTION = 1e-4, WORTH = 0.25;
const FAILS = { "plastic hinge": "hinge", thread: "thread", bearing: "bearing" };

/* Rigid motion (x, y of the origin, turn) of a point. */
const moved = (m, [x, y], k) => [x + k * (m[0] - m[2] * y), y + k * (m[1] + m[2] * x)];

/* Movement of the point of each fragment that moves most. */
const largestMoves = (rings, motions) => rings.filter((r) => r.kind === "fragment")
  .map((r, k) => Math.max(...r.points.map(([x, y]) => Math.hypot(
    motions[k][0] - motions[k][2] * y, motions[k][1] + motions[k][2] * x))));

/* The motion of each fragment in which a construct gives way: that of the last step of its path,
   scaled to 1 mm at most; null where that is not known. */
function givingWay(problem, ready) {
  const points = ready.pressing ? ready.pressing.points : [];
  if (points.length < 2) return null;
  const [a, b] = points.slice(-2).map((x) => columnsOf(problem, ready, x.state));
  const motions = problem.layout.rigid.map((at) => [0, 1, 2].map((i) => b[at + i] - a[at + i]));
  const most = Math.max(...largestMoves(problem.geometry.rings, motions));
  return most > 0 ? motions.map((m) => m.map((x) => x / most)) : null;
}

/* What moves at its bound in the last step of a path: how it fails and the name of its part. */
function failing(problem, ready) {
  const points = ready.pressing ? ready.pressing.points : [];
  if (points.length < 2) return [];
  const { p } = ready, { slack, kinkStep } = points[points.length - 1].state, found = new Map();
  const note = (kind, source, size) => {
    if (!(kind in FAILS)) return;
    const { name, kind: member } = problem.layout.sources[source];
    const key = JSON.stringify([FAILS[kind] + (FAILS[kind] === "hinge" ? "." + member : ""), name]);
    found.set(key, Math.max(found.get(key) || 0, Math.abs(size)));
  };
  p.links.slice(0, -1).forEach((i, k) =>
    note(problem.kindNames[problem.kinds[i]], problem.sourceOf[i], slack[k]));
  p.kinks.forEach((j, k) => note("plastic hinge", problem.kinkOf[j], kinkStep[k]));
  const way = points[points.length - 1].ram - points[points.length - 2].ram;
  return [...found].filter(([, size]) => size > WORTH * way).sort((a, b) => b[1] - a[1])
    .slice(0, 2).map(([key]) => JSON.parse(key));
}

/* Bodies that are not in place: parts left out, and the other kinds of those that are there. */
const bodiesOut = (problem, out, kinds) => problem.parts.filter((p) => out.has(p.name) ||
  (p.kinds && p.variant !== (kinds[p.name] || p.kinds[0]))).map((p) => p.body);

/* The state of a construct: held or not, or not known, and all that is shown of it. */
function solvedState(problem, { out, kinds = {}, wanted, load }, limits) {
  const settings = { friction: Math.max(wanted.friction, LEAST_FRICTION), strength: wanted.strength,
    tension: wanted.tension, out: bodiesOut(problem, out, kinds) };
  const { held, verdict, state, answer, ready } = solvedAt(problem, settings, load, limits);
  const { layout, geometry } = problem;
  const peak = ready.pressing && ready.pressing.points.length ? ready.pressing.peak() : null;
  const escape = held || verdict === "not known" ? null : givingWay(problem, ready);
  const motions = layout.rigid.map((at, k) => (held ? [0, 1, 2].map((i) => state[at + i])
    : escape ? escape[k] : [0, 0, 0]));
  const moves = held ? largestMoves(geometry.rings, motions) : [];
  return { held, verdict, state, force: answer ? answer.force : null, motions, moves,
    largest: held ? Math.max(...moves) : null, end: !held && peak && peak.known ? peak.load : null,
    goes: held ? [] : verdict === "not tightened" ? [["tightening", ""]] : failing(problem, ready),
    links: ready.p.links.slice(0, -1).map((i) => layout.sources[problem.sourceOf[i]].name),
    guesses: ready.pressing ? ready.pressing.guesses : 0 };
}

/* The problems that were asked for, unpacked; one comes with the first question on it. */
class Problems {
  constructor() { this.open = new Map(); }

  async answer({ id, given, controls, limits }) {
    if (!this.open.has(id)) this.open.set(id, opened(given));
    return solvedState(await this.open.get(id), controls, limits);
  }
}

/* In a worker thread: one question after the other. */
if (typeof document === "undefined") {
  const problems = new Problems();
  onmessage = async ({ data }) => postMessage(await problems.answer(data));
}
