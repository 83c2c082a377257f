/* From a solved state to the next by Lemke's pivots, one change of state after the other: a port of
   `fe/solve/trace.py`, which says how. */
const MOST_PIVOTS = 150, MOST_AFTER = 8, FAR_BACK = -2, NOISE = 1e-11;

class Trace {
  constructor(step, start) {
    const { p, stuck } = step, { n, m, h } = p;
    this.step = step;
    this.force = start.force.slice();
    this.slack = start.slack.slice();
    this.kink = start.kinkStep.slice();
    Object.assign(this, step.project(this.force, this.slack, this.kink));
    const hard = (i) => step.slopeHigh[i] * Math.max(this.slack[i], 0) +
      step.slopeLow[i] * Math.min(this.slack[i], 0);
    this.pull = new Float64Array(n);
    for (let i = 0; i < n; i++) {
      if (this.state[i] && p.slope[i] > 0) {
        this.pull[i] = (this.state[i] > 0 ? step.upper[i] : step.lower[i]) + hard(i) - this.force[i];
      }
    }
    const moment = step.moments(this.force);
    this.bend = new Float64Array(h);
    for (let j = 0; j < h; j++) {
      if (this.turning[j] && p.kinkSlope[j]) {
        this.bend[j] = this.turning[j] * p.kinkLimit[j] + step.kinkMoved[j] +
          p.kinkSlope[j] * this.kink[j] - moment[j];
      }
    }
    for (const i of step.prescribed.keys()) this.pull[i] = step.lower[i] - this.force[i];
    const gap = step.slackOf(this.force, start.rigid, this.kink).slack;
    const left = step.unbalanced(this.force), all = n + m;
    this.push = new Float64Array(all);
    for (let i = 0; i < n; i++) {
      const now = gap[i] - this.slack[i];
      if (now) stuck.addColumn(this.push, i, now / stuck.unit);
    }
    for (let i = 0; i < all; i++) {
      for (let j = 0; j < m; j++) this.push[i] += stuck.inverse[i * all + n + j] * left[j];
    }
    this.way = 0;
  }

  /* Forces, slacks and kinks for the whole way, if no state changed. */
  rates() {
    const { step } = this, { p, stuck } = step, { n, h } = p;
    const g = new System(step, this.state, this.turning), change = this.push;
    this.snaps = g.singular;
    let moved = null;
    if (g.singular) {          // a mechanism: it moves while the data stay
      moved = g.free(step.reference);
    } else {
      const want = new Float64Array(n + h);
      for (let i = 0; i < n; i++) {
        if (g.out[i]) want[i] = this.pull[i] + g.rub[i] * change[step.partner[i]] - change[i];
      }
      for (let j = 0; j < h; j++) {
        if (!g.out[n + j]) continue;
        const { at, by } = p.felt[j];
        want[n + j] = -this.bend[j] - at.reduce((s, i, c) => s + by[c] * change[i], 0);
      }
      moved = g.move(want);
    }
    const { x, y } = moved, still = g.singular ? 0 : 1;
    return { force: this.force.map((_, i) => still * change[i] + y[i]),
      slack: this.slack.map((_, i) => (g.out[i] ? x[i] * stuck.scale[i] : 0)),
      kink: this.kink.map((_, j) => (g.out[n + j] ? x[n + j] * stuck.kinkScale[j] : 0)) };
  }

  /* What is left to both bounds of each link and kink, upper first, or the rate of that. */
  room({ force, slack, kink }, rate) {
    const { step, state, turning } = this, { p, stuck } = step, { n, h } = p, wide = n + h;
    const out = new Float64Array(2 * wide), none = rate ? 0 : Infinity;
    for (let i = 0; i < n; i++) {
      const rubs = step.friction[i] > 0, mate = step.partner[i];
      const width = rubs ? step.friction[i] * force[mate] : 0;
      const high = rate ? width - force[i] : step.upper[i] + width - force[i];
      const low = rate ? width + force[i] : force[i] - step.lower[i] + width;
      const loose = slack[i] / stuck.scale[i];
      let up = state[i] === 0 ? high : state[i] > 0 ? loose : none;
      let down = state[i] === 0 ? low : state[i] < 0 ? -loose : none;
      const parted = rubs && state[mate] < 0 && step.lower[mate] === 0;
      if (parted || (!rubs && step.upper[i] === step.lower[i])) up = down = none;
      out[i] = up;
      out[wide + i] = down;
    }
    const moment = step.moments(force);
    for (let j = 0; j < h; j++) {
      const high = rate ? -moment[j] : p.kinkLimit[j] + step.kinkMoved[j] - moment[j];
      const low = rate ? moment[j] : moment[j] + p.kinkLimit[j] - step.kinkMoved[j];
      const bend = kink[j] / stuck.kinkScale[j];
      out[n + j] = turning[j] === 0 ? high : turning[j] > 0 ? bend : none;
      out[wide + n + j] = turning[j] === 0 ? low : turning[j] < 0 ? -bend : none;
    }
    return out;
  }

  run() {
    const { step } = this, { n, h } = step.p, wide = n + h;
    let forwards = 1, flipped = -1;
    for (let pivot = 0; pivot < MOST_PIVOTS; pivot++) {
      step.guesses++;
      const now = this.rates(), room = this.room(this, false), rate = this.room(now, true);
      const last = this.side * wide + flipped;
      if (flipped >= 0) {
        // What has just changed its state goes into the room that it now has.
        if (rate[last] === 0) return null;
        forwards = rate[last] > 0 ? 1 : -1;
        room[last] = Math.max(room[last], 0);
      }
      const quiet = -NOISE * mostOf(rate);
      let far = Infinity, which = -1;
      for (let c = 0; c < 2 * wide; c++) {
        const speed = forwards * rate[c];
        if (!(speed < quiet) || (flipped >= 0 && c === last)) continue;
        const time = Math.max(room[c], 0) / -speed;
        if (time < far) { far = time; which = c; }
      }
      const on = this.snaps ? 0 : forwards;
      if (on > 0 && this.way + far >= 1) return this.end(1 - this.way, now);
      if (!Number.isFinite(far) || this.way + on * far < FAR_BACK) return null;
      this.way += on * far;
      for (const name of ["force", "slack", "kink"]) {
        for (let i = 0; i < now[name].length; i++) this[name][i] += forwards * far * now[name][i];
      }
      flipped = which % wide;
      this.flip(flipped, which >= wide ? 1 : 0);
    }
    return null;
  }

  flip(which, side) {
    const { step } = this, { n } = step.p, isLink = which < n;
    const states = isLink ? this.state : this.turning, at = isLink ? which : which - n;
    this.side = side;
    const before = states[at];
    states[at] = before ? 0 : side === 0 ? 1 : -1;
    if (!isLink) { if (before) this.kink[at] = 0; return; }
    if (before) this.slack[at] = 0;
    if (step.lower[at] === 0 && !(step.friction[at] > 0) && side === 1) {
      // With the contact its friction comes and goes.
      for (let i = 0; i < n; i++) {
        if (step.friction[i] > 0 && step.partner[i] === at) this.state[i] = this.slack[i] >= 0 ? 1 : -1;
      }
    }
  }

  end(rest, now) {
    const ahead = (name) => this[name].map((x, i) => x + rest * now[name][i]);
    const { state, turning } = this.step.project(ahead("force"), ahead("slack"), ahead("kink"));
    return search(this.step, this.state, this.turning, 1, MOST_AFTER) ||
      search(this.step, state, turning, 1, MOST_AFTER);
  }
}
