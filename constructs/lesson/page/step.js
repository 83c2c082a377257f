/* One step of bounded links: its data, the proof of an answer, and the linear problem of one state
   of all links. A port of `fe/solve` (step, guess). */
const EQUILIBRIUM = 1e-9, COMPLEMENTARITY = 1e-8, SMALL_SHARE = 1e-3, LAST_DIGIT = 2 * Number.EPSILON;
const ILL = 1e-12, REFINEMENTS = 4, ENOUGH = 1e-12;

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
    this.rests = !tightens && prescribed.get(n - 1) === 0;
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
    if (this.rests) return Math.max(largest, SMALL_SHARE * this.reference);
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

/* The linear system of one state of links and kinks, factorised: over those that differ from the
   base of `Sticking.table`, and those that slip or harden. */
class System {
  constructor(step, state, turning) {
    const { p, stuck } = step, { n, h } = p, { table, based } = stuck, units = n + h;
    const out = new Uint8Array(units);
    this.step = step;
    this.known = [];      // at a bound in the base and now
    this.isKnown = new Uint8Array(units);
    this.open = [];       // unknown: D in the equations
    this.rub = new Float64Array(units);
    this.rise = new Float64Array(units);
    this.bound = new Float64Array(units);
    for (let i = 0; i < n; i++) {
      if (!state[i]) continue;
      const mate = step.partner[i], up = state[i] > 0;
      out[i] = 1;
      // There is no friction at an open contact.
      if (step.friction[i] > 0 && !(state[mate] < 0 && step.lower[mate] === 0)) {
        this.rub[i] = state[i] * step.friction[i];
      }
      this.rise[i] = (up ? step.slopeHigh[i] : step.slopeLow[i]) * stuck.scale[i];
      this.bound[i] = up ? step.upper[i] : step.lower[i];
    }
    for (let j = 0; j < h; j++) {     // a kink's force is K^T f, minus the moment
      if (!turning[j]) continue;
      out[n + j] = 1;
      this.rise[n + j] = -p.kinkSlope[j] * stuck.kinkScale[j];
      this.bound[n + j] = -turning[j] * p.kinkLimit[j] - step.kinkMoved[j];
    }
    for (let u = 0; u < units; u++) {
      if (out[u] && based[u] && !this.rub[u] && !this.rise[u]) {
        this.known.push(u);
        this.isKnown[u] = 1;
      } else if (out[u] !== based[u] || (out[u] && based[u])) this.open.push(u);
    }
    this.out = out;
    const { open } = this, size = open.length, a = new Float64Array(size * size);
    const place = new Map(open.map((u, r) => [u, r]));
    for (let r = 0; r < size; r++) {
      const u = open[r], row = r * size, rub = this.rub[u], rise = this.rise[u];
      const mate = rub ? step.partner[u] : 0, given = rub && based[mate] ? place.get(mate) ?? -1 : -1;
      // Of what is in the base the table gives the slack, of the others the force.
      const own = !out[u] || !based[u] ? 1 : -rise, side = rub && !based[mate] ? rub : 0;
      for (let c = 0; c < size; c++) {
        const column = table[open[c]];
        a[row + c] = own * column[u] - side * column[mate];
      }
      if (out[u]) a[row + r] += based[u] ? 1 : -rise;
      if (given >= 0) a[row + given] -= rub;
    }
    this.factor = null;
    this.singular = false;
    if (size) {
      this.norm = columnNorm(a, size);
      this.factor = factorised(a, size);
      this.singular = !(soundness(this.factor, this.norm) >= ILL);
    }
  }

  /* Slacks and kinks `x`, forces and motions `y`, where the forces of all at a bound have to change
     by `want` (more by what hardens and rubs). */
  move(want) {
    const { step: { partner, stuck: { table, based, rows } }, open, known, out } = this;
    const y = new Float64Array(rows), right = new Float64Array(open.length);
    for (const u of known) if (want[u]) addTo(y, table[u], want[u]);
    open.forEach((u, r) => {
      if (!out[u]) { right[r] = -y[u]; return; }
      const mate = this.rub[u] ? partner[u] : -1;
      const rubbed = mate < 0 ? 0 : !based[mate] ? y[mate] : this.isKnown[mate] ? want[mate] : 0;
      right[r] = want[u] + this.rub[u] * rubbed + (based[u] ? this.rise[u] * y[u] : -y[u]);
    });
    return this.whole(y, this.factor ? solved(this.factor, right) : right, want);
  }

  /* All of it from the unknowns `z` of the system. */
  whole(y, z, want) {
    const { step: { stuck: { table, based } }, open, known } = this, units = based.length;
    const x = new Float64Array(units);
    open.forEach((u, r) => { if (z[r]) addTo(y, table[u], z[r]); });
    open.forEach((u, r) => { if (!based[u]) x[u] = z[r]; });
    const given = new Map(open.map((u, r) => [u, z[r]]));
    for (const u of known) given.set(u, want ? want[u] : 0);
    for (let u = 0; u < units; u++) {
      if (based[u]) { x[u] = y[u]; y[u] = given.get(u); }
    }
    return { x, y };
  }

  /* The motion that a singular system leaves free. */
  free(size) {
    const z = nothingTo(this.factor, this.norm).map((v) => v * size);
    return this.whole(new Float64Array(this.step.stuck.rows), z, null);
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

  /* Adds the solution for a right-hand side, given that of the sticking links. */
  correct(base) {
    const { step, out, bound, rub, rise } = this, { p, stuck } = step, { n, m, h } = p;
    const now = this.force.map((f, i) => f + base[i]), want = new Float64Array(n + h);
    for (let i = 0; i < n; i++) {
      if (out[i]) {
        want[i] = bound[i] + rise[i] * this.slack[i] / stuck.scale[i] - now[i] + rub[i] * now[step.partner[i]];
      }
    }
    for (let j = 0; j < h; j++) {
      if (!out[n + j]) continue;
      const { at, by } = p.felt[j];
      let s = bound[n + j] + rise[n + j] * this.kink[j] / stuck.kinkScale[j];
      for (let i = 0; i < at.length; i++) s -= by[i] * now[at[i]];
      want[n + j] = s;
    }
    const { x, y } = this.move(want);
    for (let i = 0; i < n; i++) {
      if (out[i]) this.slack[i] += x[i] * stuck.scale[i];
      this.force[i] = out[i] && !rub[i] ? bound[i] + rise[i] * this.slack[i] / stuck.scale[i] : now[i] + y[i];
    }
    for (let j = 0; j < h; j++) if (out[n + j]) this.kink[j] += x[n + j] * stuck.kinkScale[j];
    for (let j = 0; j < m; j++) this.rigid[j] += (base[n + j] + y[n + h + j]) * stuck.unit;
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
