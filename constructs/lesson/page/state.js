/* From the controls to a solved state, and what of it is drawn and said. */
const LEAST_FRICTION = 1e-4, WORTH = 0.25;
const GONE = { "plastic hinge": "“{}” bends for good (a plastic hinge)",
  thread: "the thread of “{}” tears out of the bone", bearing: "the bone next to “{}” is crushed" };

/* The problems that belong to a construct with some parts out: without any hardware those of the
   bare fracture, which is there at more slopes. */
function familyOf(scene, choice, out, graft) {
  const bare = scene.bare !== null && !(choice.has[2] && graft) &&
    choice.parts.every((p) => out.has(p.name));
  const number = bare ? scene.bare : choice.families[graft || !choice.has[2] ? 1 : 0];
  return number === null ? [] : scene.families[number];
}

/* The problem nearest to a wanted slope and place of the plate; what was `moved` last counts most. */
function nearest(family, wanted, moved) {
  const far = (p) => Math.abs(p.place[0] - wanted.slope) * (moved === "slope" ? 1e3 : 1) +
    Math.abs(p.place[1] - wanted.position) * (moved === "position" ? 1e3 : 1);
  return family.reduce((a, b) => (a === null || far(b) < far(a) ? b : a), null);
}

const listOf = (family, axis) => [...new Set(family.map((p) => p.place[axis]))].sort((a, b) => a - b);

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

/* What moves at its bound in the last step of a path, in words. */
function failing(problem, ready) {
  const points = ready.pressing ? ready.pressing.points : [];
  if (points.length < 2) return "";
  const { p } = ready, { slack, kinkStep } = points[points.length - 1].state, found = new Map();
  const note = (kind, source, size) => {
    if (!(kind in GONE)) return;
    const key = GONE[kind].replace("{}", problem.layout.sources[source].name);
    found.set(key, Math.max(found.get(key) || 0, Math.abs(size)));
  };
  p.links.slice(0, -1).forEach((i, k) =>
    note(problem.kindNames[problem.kinds[i]], problem.sourceOf[i], slack[k]));
  p.kinks.forEach((j, k) => note("plastic hinge", problem.kinkOf[j], kinkStep[k]));
  const way = points[points.length - 1].ram - points[points.length - 2].ram;
  return [...found].filter(([, size]) => size > WORTH * way).sort((a, b) => b[1] - a[1])
    .slice(0, 2).map(([words]) => words).join(" and ");
}

/* The state of a construct: held or not, or not known, and all that the page shows of it. */
function stateOf(scene, choice, controls) {
  const { out, graft, wanted, moved, load } = controls;
  const family = familyOf(scene, choice, out, graft), problem = nearest(family, wanted, moved);
  if (!problem) return null;
  const gone = problem.parts.filter((p) => out.has(p.name));
  const settings = { friction: Math.max(wanted.friction, LEAST_FRICTION), strength: wanted.strength,
    tension: wanted.tension, out: gone.map((p) => p.body) };
  const found = solvedAt(problem, settings, load, scene.limits), { ready } = found;
  const { layout, geometry } = problem, there = (p) => !out.has(p.name);
  const peak = ready.pressing && ready.pressing.points.length ? ready.pressing.peak() : null;
  const now = { scene, choice: choice.name, out, family, problem, layout, load, wanted, graft,
    held: found.held, verdict: found.verdict, state: found.state, answer: found.answer, ready,
    end: !found.held && peak && peak.known ? peak.load : null,
    parts: { screws: choice.parts.filter((p) => there(p) && p.group === 0).reduce((s, p) => s + p.count, 0),
      plates: choice.parts.filter((p) => there(p) && p.group === 1 && p.plate === undefined).map((p) => p.name),
      grafts: choice.has[2] && graft ? 1 : 0 },
    geometry: { rings: geometry.rings, near: geometry.near, members: layout.members
      .map((m, i) => ({ ...m, points: geometry.members[i] })).filter(there) } };
  const escape = now.held || now.verdict === "not known" ? null : givingWay(problem, ready);
  now.motions = layout.rigid.map((at, k) => (now.held ? [0, 1, 2].map((i) => found.state[at + i])
    : escape ? escape[k] : [0, 0, 0]));
  now.moves = now.held ? largestMoves(geometry.rings, now.motions) : [];
  now.largest = now.held ? Math.max(...now.moves) : null;
  now.goes = now.held ? "" : found.verdict === "not tightened"
    ? "the bone fails while the screws are tightened" : failing(problem, ready);
  return now;
}
