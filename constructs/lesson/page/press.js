/* Tightening, then pressing by displacement: a port of `fe/solve` (ram, path, reached). The state
   at a load is the first that is reached by pressing slowly from the tightened state. */
const SOON = 20, SOON_NEAR = 10, FIRM = 1e3, HALVINGS = 2, SEAT_N = 1, MOST_GAPS = 6;
const WAY = [0.25, 0.5, 1];
const NOTHING = 1e-13, PLATEAU = 1e-3, LAST = 0.2, CLOSE = 1e-9, TRIES = 40;
const OTHER_FRICTION = [0, 3, 10, 0.3];

/* What an answer leaves for the next step: slip, crushing, kinks and tightened lengths. */
function kept(p, lower, answer, memory) {
  const slack = answer.slack.slice(), idle = 1e-12 * mostOf(answer.force), given = memory.given.slice();
  for (let i = 0; i < p.n; i++) {
    if (p.opens[i] && Math.abs(answer.force[i]) <= idle && answer.slack[i] < 0) slack[i] = 0;
    if (p.slope[i] > 0 && (slack[i] > 0 || lower[i] < 0)) given[i] += slack[i];
  }
  slack[p.n - 1] = 0;      // the ram keeps nothing
  return { offset: memory.offset.map((x, i) => x + slack[i]),
    kink: memory.kink.map((x, j) => x + answer.kinkStep[j]), given };
}

/* The start of a search: all stick, but for what is prescribed and gaps that are open. */
function stuckStart(step) {
  const { p } = step, stick = new Int8Array(p.n);
  for (const i of step.prescribed.keys()) stick[i] = 1;
  for (let i = 0; i < p.n - 1; i++) if (p.opens[i] && p.gap[i] > 0) stick[i] = -1;
  return stick;
}

/* Whether a tightened head pulls harder than all that holds its screw along it: then no forces
   within their bounds balance, whatever else happens. */
function pullsOut(step, heads) {
  const { p } = step, { m, G } = p;
  return heads.some(([head]) => {
    const own = [];        // motions of the screw, the body that lets go with its head
    const bodies = p.links.length && [p.whole.bodyA[p.links[head]], p.whole.bodyB[p.links[head]]];
    const screw = bodies.find((body) => p.whole.parts.some((x) => x.body === body && x.kind !== "plate"));
    p.motions.forEach((j, k) => { if (p.whole.ofMotion[j] === screw) own.push(k); });
    const along = own.slice(0, 2).map((k) => G[head * m + k]);
    let least = 0, most = 0;
    for (let i = 0; i < p.n; i++) {
      const g = along.reduce((s, a, c) => s + a * G[i * m + own[c]], 0);
      if (Math.abs(g) < 1e-9) continue;
      const free = step.friction[i] > 0 ? Infinity : 0;
      const ends = [g * (step.lower[i] - free), g * (step.upper[i] + free)];
      least += Math.min(...ends);
      most += Math.max(...ends);
    }
    return least > step.tol || most < -step.tol;
  });
}

/* The tightened state: an answer, {none: true} where there is none, or null where not known. */
function tightened(stuck, law, tighten) {
  const { p } = stuck, prescribed = new Map([...tighten, [p.n - 1, 0]]);
  const step = new Step(stuck, law, nothingKept(p), { prescribed, tightens: true });
  if (pullsOut(step, tighten)) return { none: true };
  return (stuck.inverse && searched(step)) || lemkeAnswer(step);
}

/* From all stuck, as `fe/solve/strategy.py`: with friction several states may balance the heads,
   and another start, such as what was shown before, could lead to another of them. */
function searched(step) {
  const stick = stuckStart(step);
  for (const firm of [1, FIRM]) {
    const found = search(step, stick, undefined, firm);
    if (found) return found;
  }
  for (const share of OTHER_FRICTION) {
    const other = Object.assign(Object.create(Step.prototype), step,
      { friction: step.friction.map((x) => share * x) });
    const other_ = search(other, stick, undefined, FIRM);
    const next = other_ && other_.held && follow(step, other_, FIRM);
    if (next) return next;
  }
  return null;
}

/* A construct at given settings under the ram; the path is pressed as far as it is asked for. */
class Pressing {
  constructor(stuck, law, memory, near, limits) {
    const { p } = stuck;
    Object.assign(this, { stuck, p, law, limits, points: [], gaps: [], size: 0, missed: 0, why: "",
      next: 0, stopped: "", guesses: 0 });
    this.places = [];
    for (let size = limits.first, at = 0; at < limits.farthest; size *= limits.growth) {
      at = Math.min(at + size, limits.farthest);
      this.places.push(at);
    }
    const rest = this.rest(memory, near);
    if (!rest || !rest.held) { this.gaps.push(0); this.stopped = "not known"; return; }
    this.zero = rest.place;
    this.points.push({ ram: 0, load: 0, state: rest, memory: this.advance(rest, memory) });
    this.seat();
  }

  placeOf(found) {
    const { p: { n, m, F, G, felt } } = this, last = n - 1;
    let s = 0;
    for (let j = 0; j < n; j++) s -= F[last * n + j] * found.force[j];
    for (let j = 0; j < m; j++) s += G[last * m + j] * found.rigid[j];
    felt.forEach(({ at, by }, j) => {
      const k = at.indexOf(last);
      if (k >= 0) s += by[k] * found.kink[j];
    });
    return -s;
  }

  cut(step, found) {
    const last = this.p.n - 1;
    if (Math.abs(found.force[last]) <= NOTHING * step.reference) found.force[last] = 0;
    return { ...found, load: found.force[last], place: this.placeOf(found) };
  }

  /* The step from `memory` to a position or a force of the ram; null where it is not found. `same`:
     what may well be its answer. */
  step(memory, { place, load, near = [], size = 0, hammer = false, same }) {
    const last = this.p.n - 1, prescribed = load === undefined ? new Map() : new Map([[last, load]]);
    const step = new Step(this.stuck, this.law, memory, { place: place ?? 0, prescribed, size });
    let found = (same && step.accept(same.force, same.rigid, same.kinkStep)) ||
      this.find(step, near, load !== undefined);
    if (!found && hammer) found = lemkeAnswer(step);
    this.guesses += step.guesses;
    // A first base, and a last one where the construct is first read under load.
    if (found && found.held && this.stuck.bases < (load > SEAT_N ? 2 : 1)) {
      this.stuck.base(step, step.project(found.force, found.slack, found.kinkStep));
    }
    return found && !found.none ? (found.held ? this.cut(step, found) : found) : null;
  }

  find(step, near, free) {
    if (!this.stuck.inverse) return null;
    const last = this.p.n - 1, starts = near.filter((a) => a.force.some((x) => x)).map((a) => {
      const slack = a.slack.slice();
      slack[last] = free ? -a.place : 0;
      return { ...a, slack };
    });
    for (const a of starts) {
      const { state, turning } = step.project(a.force, a.slack, a.kinkStep);
      const found = search(step, state, turning, 1, SOON_NEAR);
      if (found) return found;
    }
    if (starts.length) {
      const found = new Trace(step, starts[0]).run();
      if (found) return found;
    }
    if (near.some((a) => a.load > 0)) return null;
    const stick = stuckStart(step);
    return search(step, stick) || search(step, stick, undefined, FIRM);
  }

  rest(memory, near) {
    const { p } = this, last = p.n - 1;
    const step = new Step(this.stuck, this.law, memory, { prescribed: new Map([[last, 0]]) });
    const none = new Float64Array(p.h);
    const still = step.accept(new Float64Array(p.n), new Float64Array(p.m), none) ||
      (near && step.accept(near.force, near.rigid, none));
    if (still) return this.cut(step, still);
    return this.step(memory, { load: 0, near: near ? [{ ...near, load: 0, place: 0 }] : [], hammer: true });
  }

  advance(state, memory) {
    return kept(this.p, this.law.lower, state, memory);
  }

  add(ram, state) {
    const { memory } = this.points[this.points.length - 1];
    this.size = Math.max(this.size, Math.abs(state.load));
    this.points.push({ ram, load: state.load, state, memory: this.advance(state, memory), began: memory });
  }

  /* Seats the parts by a small force, under which no piece runs ahead of the ram. It crushes nothing,
     so that what has sat so at another strength does so at this one. */
  seat() {
    const { state, memory } = this.points[0], { seats } = this.stuck, rubs = this.law.friction.join();
    const found = this.step(memory, { load: SEAT_N, near: [state], size: SEAT_N, hammer: true,
      same: seats.get(rubs) });
    if (found && found.held) seats.set(rubs, found);
    if (found && found.held && found.place > this.zero && found.place - this.zero < this.limits.farthest) {
      this.size = SEAT_N;
      this.add(found.place - this.zero, found);
      while (this.places[this.next] <= found.place - this.zero) this.next++;
    }
  }

  to(place, halved = 0) {
    const point = this.points[this.points.length - 1];
    const last = halved === HALVINGS || !point.state.force.some((x) => x);
    const found = this.step(point.memory, { place: this.zero + place, near: [point.state],
      size: this.size, hammer: last }) || (last ? null : this.byWay(place));
    if (found && found.held) {
      this.add(place, found);
      this.missed = 0;
      this.why = "";
      return true;
    }
    if (last) {
      if (found) this.why = "too far"; else { this.gaps.push(place); this.missed++; }
      return false;
    }
    return this.to(0.5 * (point.ram + place), halved + 1) && this.to(place, halved + 1);
  }

  /* The same step by way of shorter ones from the same memory, which commit nothing. */
  byWay(place) {
    const { ram, state, memory } = this.points[this.points.length - 1];
    let found = state;
    for (const share of WAY) {
      found = this.step(memory, { place: this.zero + ram + share * (place - ram), near: [found],
        size: this.size, hammer: share === WAY[0] });
      if (!found || !found.held) return null;
    }
    return found;
  }

  firstAbove(load) {
    return this.points.findIndex((point) => point.load >= load);
  }

  /* Presses until a load is carried, or to the end. */
  upTo(load) {
    while (!this.stopped && this.firstAbove(load) < 0) {
      if (this.next >= this.places.length) { this.stopped = "complete"; break; }
      this.to(this.places[this.next++]);
      if (this.firstAbove(this.limits.load) >= 0) this.stopped = "limit of load";
      else if (this.why || this.missed >= MOST_GAPS) this.stopped = this.why || "gaps";
    }
    return this;
  }

  /* The largest load, and whether that is known to be the peak. */
  peak() {
    const loads = this.points.map((x) => x.load), at = this.points.map((x) => x.ram);
    const load = Math.max(...loads), top = loads.indexOf(load), last = loads.length - 1;
    const found = { load, known: false };
    if (loads.length < 3 || this.gaps.some((g) => g > at[Math.max(top - 1, 0)])) return found;
    if (loads[last] < load * (1 - PLATEAU)) return { load, known: true };
    const from = (1 - LAST) * at[last], k = at.findIndex((x) => x >= from);
    const before = k > 0 ? loads[k - 1] + ((loads[k] - loads[k - 1]) * (from - at[k - 1])) /
      (at[k] - at[k - 1]) : loads[0];
    return { load, known: loads[last] - before <= PLATEAU * load };
  }

  /* The state at a load: a point, or null; `verdict` says which of "not held" and "not known". */
  at(load) {
    const k = this.upTo(load).firstAbove(load);
    if (k < 0) return null;
    const after = this.points[k];
    if (k === 0 || after.load === load) return after.state;
    return this.between(this.points[k - 1], after, load);
  }

  verdict(load) {
    if (this.firstAbove(load) >= 0) return "not known";      // passed, but not found between
    return this.peak().known || this.why === "too far" ? "not held" : "not known";
  }

  between(before, after, load) {
    let low = before.state, high = after.state, misses = [low.load - load, high.load - load];
    const { size } = this, slack = 1e-6 * (high.place - low.place), ends = [low.place, high.place];
    const atLoad = (...near) => {
      const found = this.step(before.memory, { load, near, size });
      return found && found.held && found.place >= ends[0] - slack && found.place <= ends[1] + slack
        ? found : null;
    };
    let found = atLoad(low, high);
    for (let round = 0; round < TRIES && !found; round++) {
      const share = Math.min(Math.max(misses[0] / (misses[0] - misses[1]), 0.02), 0.98);
      const middle = this.step(before.memory, { place: low.place + share * (high.place - low.place),
        near: [low, high], size, hammer: true });
      if (!middle || !middle.held) return null;
      const miss = middle.load - load;
      if (Math.abs(miss) <= CLOSE * size) return atLoad(middle) || middle;
      if (miss < 0) {
        misses = [miss, low === before.state ? misses[1] : 0.5 * misses[1]];
        low = middle;
      } else {
        misses = [high === after.state ? misses[0] : 0.5 * misses[0], miss];
        high = middle;
      }
      found = atLoad(low, high);
    }
    return found;
  }
}
