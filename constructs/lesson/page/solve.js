/* What the page shows of a problem at its settings: tightened, pressed to a load, and read. */
const MOST_KNOWN = 6, MOST_STUCK = 4;

/* The last few of what is asked for again, by key. */
function remembered(known, key, most, make) {
  const found = known.has(key) ? known.get(key) : make();
  known.delete(key);
  known.set(key, found);
  if (known.size > most) known.delete(known.keys().next().value);
  return found;
}

/* The construct at settings {friction, strength, tension, out}: tightened, and under the ram.
   `out`: numbers of the bodies that are not in place. */
function prepared(problem, { friction, strength, tension, out }, limits) {
  const gone = [...out].sort((a, b) => a - b).join();
  const key = [gone, friction, strength, problem.tighten.length ? tension : ""].join(" ");
  return remembered(problem.known, "at " + key, MOST_KNOWN, () => {
    const set = new Set(out), base = problem.base || [];
    problem.all ??= new Sticking(withoutBodies(problem, new Set(base)));
    const within = base.every((body) => set.has(body));   // what is in place is there in `all`
    const stuck = within && out.length === base.length ? problem.all
      : remembered(problem.stuck, gone, MOST_STUCK,
        () => new Sticking(withoutBodies(problem, set), within ? problem.all : null));
    const { p } = stuck, law = lawOf(p, { friction, strength });
    if (problem.staged) return built(problem, stuck, law, limits);
    const heads = problem.tighten.map(([i, force]) => [p.number.get(i), force * tension])
      .filter(([i, force]) => i !== undefined && force > 0);
    const tight = heads.length ? tightened(stuck, law, heads) : undefined;
    if (tight !== undefined && !(tight && tight.held)) {
      return { p, tight: null, pressing: null, verdict: tight ? "not tightened" : "not known" };
    }
    const memory = tight ? kept(p, law.lower, tight, nothingKept(p)) : nothingKept(p);
    return { p, tight: tight ?? null, pressing: new Pressing(stuck, law, memory, tight, limits) };
  });
}

/* A construct whose stages were carried out beforehand: pressed from the state that they left, while
   movements count from before the first of them that loads it. */
function built(problem, stuck, law, limits) {
  const { p } = stuck;
  if (!problem.stands) return { p, tight: null, pressing: null, verdict: "not tightened" };
  const at = (name) => ({ force: problem[name + "Force"], rigid: problem[name + "Moved"],
    kink: problem[name + "Kinked"], slack: new Float64Array(p.n), kinkStep: new Float64Array(p.h) });
  const memory = { offset: problem.offset, kink: problem.kept, given: problem.given };
  return { p, tight: at("since"),
    pressing: new Pressing(stuck, law, memory, at("from"), limits) };
}

/* Rows of an answer, and what of them the shaft's own movement is. */
function readRows(problem, p, answer) {
  const wide = problem.links + problem.motions + problem.kinks;
  const at = [...p.links, ...p.motions.map((j) => problem.links + j),
    ...p.kinks.map((j) => problem.links + problem.motions + j)];
  const x = new Float64Array(wide);
  [...answer.force, ...answer.rigid, ...answer.kink].forEach((v, i) => { x[at[i]] = v; });
  const rows = (table, count) => Float64Array.from({ length: count }, (_, r) => {
    let s = 0;
    for (let c = 0, b = r * wide; c < wide; c++) s += table[b + c] * x[c];
    return s;
  });
  return { values: rows(problem.rowsOf, problem.rows), frame: rows(problem.frame, 3) };
}

/* The columns of a state: movements since the last tightening, in the frame of the shaft. */
function columnsOf(problem, { p, tight }, answer) {
  const { values, frame } = readRows(problem, p, answer);
  const before = tight ? readRows(problem, p, tight) : null;
  return values.map((value, r) => {
    if (!problem.moves[r]) return value;
    let moved = before ? value - before.values[r] : value;
    for (let c = 0; c < 3; c++) {
      moved -= problem.seen[3 * r + c] * (before ? frame[c] - before.frame[c] : frame[c]);
    }
    return moved;
  });
}

/* {held, verdict, state, peak}: `verdict` is "held", "not held", "not tightened" or "not known". */
function solvedAt(problem, settings, load, limits) {
  const ready = prepared(problem, settings, limits);
  if (!ready.pressing) return { held: false, verdict: ready.verdict, state: null, ready };
  const answer = ready.pressing.at(load);
  if (!answer) return { held: false, verdict: ready.pressing.verdict(load), state: null, ready };
  return { held: true, verdict: "held", state: columnsOf(problem, ready, answer), answer, ready };
}
