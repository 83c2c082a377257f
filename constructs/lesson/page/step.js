/* One step of bounded links: its data, the proof of an answer, and the search for the state of all
   links that is consistent with its own solution. A port of `fe/solve` (step, guess, search). */
const EQUILIBRIUM = 1e-9, COMPLEMENTARITY = 1e-8, SMALL_SHARE = 1e-3, LAST_DIGIT = 2 * Number.EPSILON;
const ILL = 1e-12, REFINEMENTS = 4, ENOUGH = 1e-12;
const FEW = 3, NEARLY = 1e-5, MOST_GUESSES = 50, FEWEST_GUESSES = 20, DEARLY = 25000;

const nothingKept = (p) => ({ offset: new Float64Array(p.n), kink: new Float64Array(p.h),
  given: new Float64Array(p.n) });

class Step {
  /* `place`: position of the ram [mm]; `prescribed`: forces [N] by link; `size`: a load [N] that
     errors are told against while the ram carries less. */
  constructor(stuck, law, memory, { place = 0, prescribed = new Map(), size = 0, tightens = false }) {
    const { p } = stuck, { n, m, h } = p;
    Object.assign(this, { stuck, p, memory, prescribed, tightens });
    this.lower = law.lower.slice();
    this.upper = law.upper.slice();
    this.friction = law.friction.slice();
    this.slopeHigh = p.slope.slice();
    this.slopeLow = new Float64Array(n);
    for (let i = 0; i < n; i++) {
      const moved = p.slope[i] * memory.given[i];
      this.upper[i] += moved;
      if (law.lower[i] < 0) { this.slopeLow[i] = p.slope[i]; this.lower[i] += moved; }
    }
    this.kinkMoved = memory.kink.map((k, j) => p.kinkSlope[j] * k);
    for (const [i, force] of prescribed) {
      this.lower[i] = this.upper[i] = force;
      this.friction[i] = this.slopeHigh[i] = this.slopeLow[i] = 0;
    }
    this.partner = p.partner;
    this.d = new Float64Array(n);
    for (let i = 0; i < n; i++) this.d[i] = -p.gap[i] - memory.offset[i];
    this.d[n - 1] += place;
    p.felt.forEach(({ at, by }, j) => {
      if (memory.kink[j]) at.forEach((i, k) => { this.d[i] += by[k] * memory.kink[j]; });
    });
    const stick = this.sticking = new Float64Array(n + m);
    if (stuck.inverse) {
      for (let i = 0; i < n; i++) if (this.d[i]) stuck.addColumn(stick, i, this.d[i] / stuck.unit);
    }
    const ram = Math.abs(prescribed.get(n - 1) ?? 0);
    if (tightens) {
      this.reference = [...prescribed.values()].reduce((s, f) => s + Math.abs(f), 0);
    } else {
      this.reference = Math.max(ram, size);
      if (this.reference < SMALL_SHARE * Math.abs(stick[n - 1])) this.reference = Math.abs(stick[n - 1]);
    }
    this.reference = Math.max(this.reference, 1e-12);
    this.tol = 1e-12 * this.reference;
    this.guesses = 0;
    this.wide = n + h;
  }

  /* The force [N] to which errors are relative. */
  against(force) {
    const largest = mostOf(force);
    return this.tightens ? Math.max(this.reference, SMALL_SHARE * largest)
      : Math.max(Math.abs(force[force.length - 1]), SMALL_SHARE * largest, SMALL_SHARE * this.reference);
  }

  /* Moments at the kinks that forces leave: minus K^T f. */
  moments(force) {
    return Float64Array.from(this.p.felt, ({ at, by }) => {
      let s = 0;
      for (let k = 0; k < at.length; k++) s -= by[k] * force[at[k]];
      return s;
    });
  }

  /* d - (F + C) f + G q + K a, and the sizes of the motions in it. */
  slackOf(force, rigid, kink) {
    const { stuck: { stiff }, p: { n, m, G, felt } } = this;
    const out = this.d.slice(), moved = this.d.map(Math.abs);
    for (let i = 0; i < n; i++) {
      let s = 0;
      for (let j = 0, at = i * n; j < n; j++) s += stiff[at + j] * force[j];
      out[i] -= s;
      for (let j = 0, at = i * m; j < m; j++) {
        const g = G[at + j] * rigid[j];
        out[i] += g;
        moved[i] += Math.abs(g);
      }
    }
    felt.forEach(({ at, by }, j) => {
      if (!kink[j]) return;
      for (let k = 0; k < at.length; k++) {
        const g = by[k] * kink[j];
        out[at[k]] += g;
        moved[at[k]] += Math.abs(g);
      }
    });
    return { slack: out, moved };
  }

  /* What the forces leave unbalanced on the motions: -G^T f. */
  unbalanced(force) {
    const { n, m, G } = this.p, out = new Float64Array(m);
    for (let i = 0; i < n; i++) if (force[i]) for (let j = 0; j < m; j++) out[j] -= G[i * m + j] * force[i];
    return out;
  }

  residuals(force, rigid, kink) {
    const { slack, moved } = this.slackOf(force, rigid, kink);
    for (let i = 0; i < slack.length; i++) if (Math.abs(slack[i]) <= LAST_DIGIT * moved[i]) slack[i] = 0;
    const { value, kinkValue } = this.project(force, slack, kink);
    let error = 0;
    for (let i = 0; i < value.length; i++) error = Math.max(error, Math.abs(value[i] - force[i]));
    const moment = this.moments(force);
    for (let j = 0; j < moment.length; j++) error = Math.max(error, Math.abs(kinkValue[j] - moment[j]));
    const against = this.against(force);
    return { slack, balance: mostOf(this.unbalanced(force)) / against, error: error / against };
  }

  /* Trial values projected onto the bounds, and the states of links and kinks that follow. */
  project(force, slack, kink, firm = 1) {
    const { p, stuck: { scale, kinkScale }, partner, friction, tol } = this, { n, h } = p;
    const value = new Float64Array(n), state = new Int8Array(n), trial = new Float64Array(n);
    const low = new Float64Array(n), high = new Float64Array(n);
    for (let i = 0; i < n; i++) {
      const hard = this.slopeHigh[i] * Math.max(slack[i], 0) + this.slopeLow[i] * Math.min(slack[i], 0);
      trial[i] = force[i] + slack[i] / (firm * scale[i]);
      low[i] = this.lower[i] + hard;
      high[i] = this.upper[i] + hard;
      value[i] = Math.min(Math.max(trial[i], low[i]), high[i]);
    }
    for (let i = 0; i < n; i++) {
      if (friction[i] > 0) {
        const width = friction[i] * Math.max(value[partner[i]], 0);
        low[i] -= width;
        high[i] += width;
      }
    }
    for (let i = 0; i < n; i++) {
      if (friction[i] > 0) value[i] = Math.min(Math.max(trial[i], low[i]), high[i]);
      state[i] = high[i] - low[i] <= 2 * tol ? 1
        : (trial[i] > high[i] + tol ? 1 : 0) - (trial[i] < low[i] - tol ? 1 : 0);
    }
    const moment = this.moments(force), kinkValue = new Float64Array(h), turning = new Int8Array(h);
    for (let j = 0; j < h; j++) {
      const now = moment[j] + kink[j] / kinkScale[j], middle = this.kinkMoved[j] + p.kinkSlope[j] * kink[j];
      const least = middle - p.kinkLimit[j], most = middle + p.kinkLimit[j];
      kinkValue[j] = Math.min(Math.max(now, least), most);
      turning[j] = (now > most + tol ? 1 : 0) - (now < least - tol ? 1 : 0);
    }
    return { value, kinkValue, state, turning };
  }

  acceptable({ force, rigid, kink }) {
    const { balance, error } = this.residuals(force, rigid, kink);
    return balance < EQUILIBRIUM && error < 0.01 * COMPLEMENTARITY;
  }

  /* The answer, if its own residuals prove it; not held where bodies move beyond their limits. */
  accept(force, rigid, kink) {
    const { slack, balance, error } = this.residuals(force, rigid, kink);
    if (!(balance < EQUILIBRIUM && error < COMPLEMENTARITY)) return null;
    return { held: !this.tooFar(rigid), force, rigid, slack, kinkStep: kink,
      kink: kink.map((k, j) => k + this.memory.kink[j]) };
  }

  tooFar(rigid) {
    return rigid.some((q, j) => Math.abs(q) > this.p.farthest[j]);
  }
}

/* The linear system of one state of links and kinks, factorised. */
class System {
  constructor(step, state, turning) {
    const { p, stuck } = step, { n, m } = p, all = n + m, { inverse, perSlack, toKink, moments } = stuck;
    this.step = step;
    const out = this.out = [], hin = this.hin = [];
    state.forEach((s, i) => { if (s) out.push(i); });
    turning.forEach((s, j) => { if (s) hin.push(j); });
    const k = out.length, size = k + hin.length, a = new Float64Array(size * size);
    this.bound = Float64Array.from(out, (i) => (state[i] > 0 ? step.upper[i] : step.lower[i]));
    this.rise = Float64Array.from(out, (i) => (state[i] > 0 ? step.slopeHigh[i] : step.slopeLow[i]));
    this.mate = out.map((i) => (step.friction[i] > 0 ? step.partner[i] : 0));
    // There is no friction at an open contact.
    this.rub = Float64Array.from(out, (i, r) => (step.friction[i] > 0 &&
      !(state[this.mate[r]] < 0 && step.lower[this.mate[r]] === 0) ? state[i] * step.friction[i] : 0));
    this.limit = Float64Array.from(hin, (j) => turning[j] * p.kinkLimit[j] + step.kinkMoved[j]);
    for (let r = 0; r < k; r++) {
      const row = out[r] * all, mate = this.mate[r] * all, rub = this.rub[r], at = r * size;
      for (let c = 0; c < k; c++) {
        const o = out[c];
        a[at + c] = (inverse[row + o] - (rub ? rub * inverse[mate + o] : 0)) * perSlack[o];
      }
      hin.forEach((j, c) => {
        const own = j * all;
        a[at + k + c] = toKink[own + out[r]] - (rub ? rub * toKink[own + this.mate[r]] : 0);
      });
      a[at + r] -= this.rise[r] * stuck.scale[out[r]];
    }
    hin.forEach((j, r) => {
      const at = (k + r) * size, back = stuck.unit / stuck.kinkScale[j];
      out.forEach((o, c) => { a[at + c] = toKink[j * all + o] * back * perSlack[o]; });
      hin.forEach((i, c) => { a[at + k + c] = moments[j * p.h + i]; });
      a[at + k + r] += p.kinkSlope[j] * stuck.kinkScale[j];
    });
    this.factor = null;
    this.singular = false;
    if (size) {
      this.norm = columnNorm(a, size);
      this.factor = factorised(a, size);
      this.singular = !(soundness(this.factor, this.norm) >= ILL);
    }
  }

  /* Adds what unknowns of the system do to forces and motions. */
  spread(change, move) {
    const { stuck, p } = this.step, all = p.n + p.m, k = this.out.length;
    this.out.forEach((o, c) => { if (move[c]) stuck.addColumn(change, o, move[c] * stuck.perSlack[o]); });
    this.hin.forEach((j, c) => {
      const at = j * all, by = move[k + c];
      for (let i = 0; i < all; i++) change[i] += by * stuck.toKink[at + i];
    });
  }
}

/* Forces, rigid motions, slacks and kinks of one state. */
class Guess extends System {
  constructor(step, state, turning) {
    super(step, state, turning);
    const { n, m, h } = step.p;
    this.force = new Float64Array(n);
    this.rigid = new Float64Array(m);
    this.slack = new Float64Array(n);
    this.kink = new Float64Array(h);
    if (!this.singular) this.correct(step.sticking);
  }

  correct(base) {
    const { step, out, hin, mate } = this, { p, stuck } = step, { n, m } = p, k = out.length;
    const change = base.slice();
    if (this.factor) {
      const miss = new Float64Array(k + hin.length), f = this.force;
      for (let r = 0; r < k; r++) {
        const o = out[r];
        miss[r] = this.bound[r] + this.rise[r] * this.slack[o] - (f[o] + base[o]) +
          this.rub[r] * (f[mate[r]] + base[mate[r]]);
      }
      hin.forEach((j, r) => {
        const { at, by } = p.felt[j];
        let s = 0;
        for (let i = 0; i < at.length; i++) s += by[i] * (f[at[i]] + base[at[i]]);
        miss[k + r] = -this.limit[r] - p.kinkSlope[j] * this.kink[j] - s;
      });
      const move = solved(this.factor, miss);
      this.spread(change, move);
      for (let r = 0; r < k; r++) this.slack[out[r]] += move[r] * stuck.scale[out[r]];
      hin.forEach((j, r) => { this.kink[j] += move[k + r] * stuck.kinkScale[j]; });
    }
    for (let i = 0; i < n; i++) this.force[i] += change[i];
    for (let r = 0; r < k; r++) {       // exactly
      if (this.rub[r] === 0) this.force[out[r]] = this.bound[r] + this.rise[r] * this.slack[out[r]];
    }
    for (let j = 0; j < m; j++) this.rigid[j] += change[n + j] * stuck.unit;
  }

  /* Removes the rounding of the inverse; the pass with the smallest error is kept. */
  refine() {
    const { step } = this, { p, stuck } = step, { n, m } = p;
    let least = Infinity, best = null;
    for (let count = 0; count <= REFINEMENTS; count++) {
      const gap = step.slackOf(this.force, this.rigid, this.kink).slack;
      let error = 0;
      for (let i = 0; i < n; i++) {
        gap[i] -= this.slack[i];
        error = Math.max(error, Math.abs(gap[i]) / stuck.scale[i]);
      }
      if (!(error < least)) break;
      least = error;
      best = ["force", "rigid", "slack", "kink"].map((name) => this[name].slice());
      if (count && !(count < REFINEMENTS && error > ENOUGH * step.reference)) continue;
      const base = new Float64Array(n + m), left = step.unbalanced(this.force);
      for (let i = 0; i < n; i++) if (gap[i]) stuck.addColumn(base, i, gap[i] / stuck.unit);
      for (let i = 0, all = n + m; i < all; i++) {
        for (let j = 0; j < m; j++) base[i] += stuck.inverse[i * all + n + j] * left[j];
      }
      this.correct(base);
    }
    [this.force, this.rigid, this.slack, this.kink] = best;
  }
}

const mostGuesses = (links) => Math.min(MOST_GUESSES, Math.max(FEWEST_GUESSES, Math.floor(DEARLY / links)));

function keyOf(state, turning) {
  let key = "";
  for (const s of state) key += s < 0 ? "-" : s;
  for (const s of turning) key += s < 0 ? "-" : s;
  return key;
}

const alike = (a, b) => a.every((x, i) => x === b[i]);

/* Follows states from a start until they no longer change; where they circle or leave a body
   without support, one link at a time. Null without an accepted answer. */
function search(step, state, turning = new Int8Array(step.p.h), firm = 1,
  most = mostGuesses(step.p.n)) {
  const seen = new Set();
  let careful = false, others = [];
  for (let count = 1; count <= most; count++) {
    step.guesses++;
    const guess = new Guess(step, state, turning);
    if (guess.singular) {
      careful = true;
      if (!others.length) return null;
      state = others.shift()();
      continue;
    }
    let next = step.project(guess.force, guess.slack, guess.kink, firm);
    const changes = () => {
      const found = [];
      for (let i = 0; i < state.length; i++) if (next.state[i] !== state[i]) found.push(i);
      return found;
    };
    let changed = changes(), off = 0;
    for (let i = 0; i < state.length; i++) off = Math.max(off, Math.abs(next.value[i] - guess.force[i]));
    let turned = 0;
    for (let j = 0; j < turning.length; j++) if (next.turning[j] !== turning[j]) turned++;
    if (changed.length + turned <= FEW || off < NEARLY * step.reference ||
        seen.has(keyOf(next.state, next.turning))) {
      guess.refine();
      next = step.project(guess.force, guess.slack, guess.kink, firm);
      changed = changes();
      const same = !changed.length && alike(next.turning, turning);
      if (same || step.acceptable(guess)) {
        const found = step.accept(guess.force, guess.rigid, guess.kink);
        if (found || same) return found;
      }
    }
    const miss = (i) => Math.abs(next.value[i] - guess.force[i]), before = state, after = next;
    changed.sort((a, b) => miss(b) - miss(a));
    others = (changed.length ? changed.map((i) => [i]) : [[]]).map((links) => () => {
      const mixed = before.slice();
      for (const i of links) mixed[i] = after.state[i];
      return mixed;
    });
    careful = careful || seen.has(keyOf(next.state, next.turning));
    let moved = next.state;
    if (careful) {
      moved = null;
      while (!moved && others.length) {
        const other = others.shift()();
        if (!seen.has(keyOf(other, next.turning))) moved = other;
      }
      if (!moved) return null;
    }
    seen.add(keyOf(moved, next.turning));
    state = moved;
    turning = next.turning;
  }
  return null;
}

/* Search from the states that forces, slacks and kinks imply. */
function follow(step, { force, slack, kinkStep }, firm = 1) {
  if (!step.stuck.inverse) return null;
  const { state, turning } = step.project(force, slack, kinkStep, firm);
  return search(step, state, turning, firm);
}
