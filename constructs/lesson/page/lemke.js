/* Where active sets find nothing: bounded links as one linear complementarity problem, by Lemke's
   method. A port of `fe/solve` (complementarity, lemke), which say how it is written and scaled. */
const LCP_PIVOTS = 4000, PATHS = 3, SMALL_LCP = 400;

/* v = M z + q >= 0, z >= 0, z.v = 0: z, or null, and how it ended. Variables are numbered v, z, cover;
   each row of the table says what a basic one is in terms of those that are zero. */
function lemke(matrix, right, n, cover = new Float64Array(n).fill(1)) {
  if (!n || right.every((x) => x >= 0)) return { z: new Float64Array(n), ended: "solution" };
  const w = n + 2, rhs = n + 1, table = new Float64Array(n * w), most = Math.max(1, mostOf(right));
  const basic = Int32Array.from({ length: n }, (_, i) => i);
  const zero = Int32Array.from({ length: n + 1 }, (_, j) => n + j), at = new Int32Array(2 * n + 1).fill(-1);
  for (let i = 0; i < n; i++) {
    for (let j = 0; j < n; j++) table[i * w + j] = matrix[i * n + j];
    table[i * w + n] = cover[i];
    table[i * w + rhs] = right[i];
  }
  zero.forEach((v, c) => { at[v] = c; });     // column of a variable that is zero
  const pivot = (row, column) => {
    const own = row * w, by = 1 / table[own + column];
    for (let j = 0; j < w; j++) table[own + j] *= -by;
    table[own + column] = by;
    for (let i = 0; i < n; i++) {
      const b = i * w, f = table[b + column];
      if (i === row || f === 0) continue;
      table[b + column] = 0;
      for (let j = 0; j < w; j++) table[b + j] += f * table[own + j];
    }
    const left = basic[row];
    basic[row] = zero[column];
    at[zero[column]] = -1;
    zero[column] = left;
    at[left] = column;
    return left;
  };
  const read = () => {
    const z = new Float64Array(n);
    basic.forEach((b, i) => { if (b >= n && b < 2 * n) z[b - n] = Math.max(table[i * w + rhs], 0); });
    return z;
  };
  let least = Infinity, row = 0;
  for (let i = 0; i < n; i++) least = Math.min(least, right[i] / cover[i]);
  for (let i = 0; i < n; i++) if (right[i] / cover[i] <= least + 1e-15 * Math.abs(least)) row = i;
  let entering = n + pivot(row, n);
  for (let count = 0; count < LCP_PIVOTS; count++) {
    const column = at[entering], down = (i) => -table[i * w + column];
    let size = 1, low = Infinity, best = [];
    for (let i = 0; i < n; i++) size = Math.max(size, Math.abs(down(i)));
    for (let i = 0; i < n; i++) {
      if (down(i) > 1e-11 * size) {
        const ratio = table[i * w + rhs] / down(i);
        best.push([i, ratio]);
        low = Math.min(low, ratio);
      }
    }
    if (!best.length) {
      const last = basic.indexOf(2 * n);
      if (last < 0 || table[last * w + rhs] <= 1e-9 * most) return { z: read(), ended: "solution" };
      const z = new Float64Array(n);
      basic.forEach((b, i) => { if (b >= n && b < 2 * n) z[b - n] = Math.max(-down(i), 0); });
      if (entering >= n) z[entering - n] = 1;
      return { z, ended: "ray" };
    }
    best = best.filter(([, r]) => r <= low + 1e-13 * Math.max(1, Math.abs(low))).map(([i]) => i);
    let leaves = best.find((i) => basic[i] === 2 * n);
    for (let key = 0; leaves === undefined && best.length > 1 && key < n; key++) {
      // Ties by how a small increase of the right-hand sides, one after another, would break them.
      const value = (i) => (basic[i] === key ? 1 : at[key] < 0 ? 0 : -table[i * w + at[key]]) / down(i);
      const values = best.map(value), smallest = Math.min(...values);
      best = best.filter((_, c) => values[c] <= smallest + 1e-13 * Math.max(1, mostOf(values)));
    }
    const left = pivot(leaves ?? best[0], column);
    if (left === 2 * n) return { z: read(), ended: "solution" };
    entering = left < n ? left + n : left - n;
  }
  return { z: null, ended: "pivots" };
}

/* Whether a ray is a motion without resistance and with work of the load. */
function provesNone(matrix, right, ray, n) {
  const size = mostOf(ray) || 1, z = ray.map((x) => x / size);
  let low = 0, scale = 0, stored = 0, gain = 0, work = 0, total = 0;
  for (let i = 0; i < n; i++) {
    let force = 0, against = 0;
    for (let j = 0; j < n; j++) {
      force += matrix[i * n + j] * z[j];
      against += Math.abs(matrix[i * n + j]) * z[j];
    }
    low = Math.min(low, force);
    scale = Math.max(scale, against);
    stored += z[i] * force;
    gain += right[i] * z[i];
    work += Math.abs(right[i]) * z[i];
    total += z[i];
  }
  return !(low < -1e-9 * scale) && !(Math.abs(stored) > 1e-9 * total * scale) && gain < -1e-9 * work;
}

/* The problem over `active` links and `hinging` kinks; all others are unbounded and eliminated. */
class Reduced {
  constructor(step, active, hinging) {
    const { p, stuck: { stiff } } = step, { n, m, h, G, K } = p;
    const free = [], kept = [], hinges = [];
    for (let i = 0; i < n; i++) (active[i] ? kept : free).push(i);
    for (let j = 0; j < h; j++) if (hinging[j]) hinges.push(j);
    const every = Array.from({ length: m }, (_, j) => j), f = free.length, k = kept.length;
    const slaved = independent(block(G, m, free, every), f, m);
    const loose = every.filter((j) => !slaved.includes(j));
    const gives = free.filter((i) => step.slopeLow[i] > 0);
    const modes = loose.length + hinges.length + gives.length;
    const mode = (i, c) => (c < loose.length ? G[i * m + loose[c]]
      : c < loose.length + hinges.length ? K[i * h + hinges[c - loose.length]]
        : gives[c - loose.length - hinges.length] === i ? -1 : 0);
    const all = f + slaved.length, system = new Float64Array(all * all);
    for (let r = 0; r < f; r++) {
      for (let c = 0; c < f; c++) system[r * all + c] = stiff[free[r] * n + free[c]];
      slaved.forEach((j, c) => {
        system[r * all + f + c] = system[(f + c) * all + r] = G[free[r] * m + j];
      });
    }
    const width = k + modes + 1, right = new Float64Array(width * all);   // by columns
    for (let c = 0; c < k; c++) {
      for (let r = 0; r < f; r++) right[c * all + r] = stiff[free[r] * n + kept[c]];
      slaved.forEach((j, s) => { right[c * all + f + s] = G[kept[c] * m + j]; });
    }
    for (let c = 0; c < modes; c++) for (let r = 0; r < f; r++) right[(k + c) * all + r] = mode(free[r], c);
    for (let r = 0; r < f; r++) right[(k + modes) * all + r] = step.d[free[r]];
    const back = right.slice();
    if (all) {
      const factor = factorised(system, all);
      for (let c = 0; c < width; c++) solved(factor, back.subarray(c * all, (c + 1) * all));
    }
    const dot = (a, b) => {
      let s = 0;
      for (let i = 0; i < all; i++) s += right[a * all + i] * back[b * all + i];
      return s;
    };
    const table = (rows, columns, make) => {
      const out = new Float64Array(rows * columns);
      for (let r = 0; r < rows; r++) for (let c = 0; c < columns; c++) out[r * columns + c] = make(r, c);
      return out;
    };
    this.a = table(k, k, (r, c) => stiff[kept[r] * n + kept[c]] - dot(r, c));
    this.g = table(k, modes, (r, c) => mode(kept[r], c) - dot(r, k + c));
    this.d = table(k, 1, (r) => step.d[kept[r]] - dot(r, k + modes));
    this.mm = table(modes, modes, (r, c) => dot(k + r, k + c));
    this.r = table(modes, 1, (r) => -dot(k + r, k + modes));
    const none = loose.map(() => 0), limit = hinges.map((j) => p.kinkLimit[j]);
    this.limits = [1, -1].map((s) => [...none, ...hinges.map((j, c) => limit[c] + s * step.kinkMoved[j]),
      ...gives.map((i) => (s > 0 ? step.upper[i] : -step.lower[i]))]);
    this.rise = [...none, ...hinges.map((j) => p.kinkSlope[j]), ...gives.map((i) => p.slope[i])];
    Object.assign(this, { step, free, kept, hinges, slaved, loose, modes, all, right, back, width });
  }

  /* Forces of the kept links, amplitudes of the modes, and how the method ended. */
  solve() {
    const { step, kept, modes: m, a, g, d, mm, r: loads, rise } = this, k = kept.length;
    const force0 = step.reference, unit = step.stuck.unit, length = unit * force0;
    const where = new Map(kept.map((i, c) => [i, c])), maps = [], rubs = [], boxes = [];
    const base = new Float64Array(k), normal = new Map();
    kept.forEach((link, i) => {
      if (step.friction[link] > 0) {
        rubs.push([maps.length, i, where.get(step.partner[link])]);
        maps.push([i, 1], [i, -1]);
        return;
      }
      base[i] = step.lower[link];
      normal.set(i, maps.length);
      if (Number.isFinite(step.upper[link])) {
        boxes.push([maps.length, step.upper[link] - step.lower[link], step.slopeHigh[link]]);
      }
      maps.push([i, 1]);
    });
    const forces = maps.length, size = forces + rubs.length + boxes.length + 2 * m;
    const big = new Float64Array(size * size), q = new Float64Array(size);
    const put = (i, j, value) => { big[i * size + j] = value; };
    maps.forEach(([i, s], u) => {
      maps.forEach(([j, t], v) => put(u, v, (s * t * a[i * k + j]) / unit));
      let sum = -d[i];
      for (let j = 0; j < k; j++) sum += a[i * k + j] * base[j];
      q[u] = (s * sum) / length;
    });
    let at = forces;
    for (const [v, i, mate] of rubs) {
      const link = kept[i], mu = step.friction[link];
      for (const u of [v, v + 1]) { put(u, at, 1); put(at, u, -1); }
      put(at, normal.get(mate), mu);
      q[at] = (mu * base[mate] + step.upper[link]) / force0;
      at++;
    }
    for (const [v, width, up] of boxes) {
      put(v, at, 1);
      put(at, v, -1);
      put(at, at, up * unit);
      q[at] = width / force0;
      at++;
    }
    [1, -1].forEach((sign, half) => {
      for (let c = 0; c < m; c++, at++) {
        maps.forEach(([i, s], u) => {
          put(u, at, -sign * s * g[i * m + c]);
          put(at, u, sign * s * g[i * m + c]);
        });
        let free = loads[c];
        for (let i = 0; i < k; i++) free -= g[i * m + c] * base[i];
        q[at] = (this.limits[half][c] - sign * free) / force0;
        for (let b = 0; b < m; b++) {
          const own = (mm[c * m + b] + (b === c ? rise[c] : 0)) * unit;
          put(at, size - 2 * m + b, sign * own);
          put(at, size - m + b, -sign * own);
        }
      }
    });
    const weight = new Float64Array(size).fill(1);
    maps.forEach(([i], u) => { weight[u] = 1 / Math.sqrt(Math.max(a[i * k + i], 1e-12 * unit) / unit); });
    [...rubs, ...boxes].forEach(([v], c) => { weight[forces + c] = 1 / weight[v]; });
    for (let c = 0; c < m; c++) {
      let pull = 0;
      for (let u = 0; u < forces; u++) {
        pull = Math.max(pull, Math.abs(big[u * size + size - 2 * m + c]) * weight[u]);
      }
      weight[size - 2 * m + c] = weight[size - m + c] = 1 / (pull > 0 ? pull : 1);
    }
    for (let i = 0; i < size; i++) {
      q[i] *= weight[i];
      for (let j = 0; j < size; j++) big[i * size + j] *= weight[i] * weight[j];
    }
    let { z, ended } = lemke(big, q, size);
    for (let path = 1; path <= (size <= SMALL_LCP ? PATHS : 1) && ended !== "solution"; path++) {
      // With friction a ray does not prove that there is no solution: other paths are tried.
      const other = lemke(big, q, size, new Float64Array(size).map((_, i) =>
        0.05 + 0.95 * (((i + 1) * path * 0.6180339887498949) % 1)));
      if (other.ended === "solution" || !z) ({ z, ended } = other);
    }
    if (!z) return { force: base, modes: new Float64Array(m), ended };
    if (ended === "ray" && !provesNone(big, q, z, size)) ended = "a ray that may be due to rounding";
    const force = new Float64Array(k), modes = new Float64Array(m);
    z = z.map((x, i) => x * weight[i]);
    maps.forEach(([i, s], u) => { force[i] += s * z[u] * force0; });
    if (ended === "solution") for (let i = 0; i < k; i++) force[i] += base[i];
    for (let c = 0; c < m; c++) modes[c] = (z[size - 2 * m + c] - z[size - m + c]) * length;
    return { force, modes, ended };
  }

  /* All forces, motions and kinks, those eliminated too. */
  full({ force, modes }) {
    const { p } = this.step, { all, back, kept, free } = this, k = kept.length;
    const inner = back.slice((k + this.modes) * all, (k + this.modes + 1) * all);
    for (let i = 0; i < all; i++) {
      for (let c = 0; c < k; c++) inner[i] -= back[c * all + i] * force[c];
      for (let c = 0; c < this.modes; c++) inner[i] += back[(k + c) * all + i] * modes[c];
    }
    const out = new Float64Array(p.n), rigid = new Float64Array(p.m), kink = new Float64Array(p.h);
    kept.forEach((i, c) => { out[i] = force[c]; });
    free.forEach((i, r) => { out[i] = inner[r]; });
    this.slaved.forEach((j, c) => { rigid[j] = -inner[free.length + c]; });
    this.loose.forEach((j, c) => { rigid[j] = modes[c]; });
    this.hinges.forEach((j, c) => { kink[j] = modes[this.loose.length + c]; });
    return { force: out, rigid, kink };
  }
}

/* The step's answer, {none: true} where a ray proves that there is none, or null. */
function lemkeAnswer(step) {
  const { p } = step, { n, h } = p;
  const own = (i) => step.slopeLow[i] > 0;       // a mode of its own
  let active = new Uint8Array(n), hinging = new Uint8Array(h);
  for (let i = 0; i < n; i++) {
    if (step.friction[i] > 0) active[i] = active[step.partner[i]] = 1;
    if (Number.isFinite(step.lower[i]) && !Number.isFinite(step.upper[i])) active[i] = 1;
  }
  for (const i of step.prescribed.keys()) active[i] = 1;
  for (let i = 0; i < n; i++) if (own(i)) active[i] = 0;
  const bounded = active.map((on, i) => (on || (Number.isFinite(step.lower[i]) && !own(i)) ? 1 : 0));
  for (let round = 0; round < 20; round++) {
    const reduced = new Reduced(step, active, hinging), found = reduced.solve();
    if (found.ended !== "solution") {
      if ((alike(active, bounded) && hinging.every((x) => x)) || n + h > SMALL_LCP) {
        return found.ended === "ray" ? { none: true } : null;
      }
      active = bounded;
      hinging = hinging.map(() => 1);
      continue;
    }
    const { force, rigid, kink } = reduced.full(found);
    if (step.tooFar(rigid)) return { held: false };
    const { slack } = step.slackOf(force, rigid, kink);
    const proved = follow(step, { force, slack, kinkStep: kink });
    if (proved) return proved;
    const moment = step.moments(force);
    let more = false;
    const wider = active.map((on, i) => {
      const over = !on && !own(i) && (force[i] > step.upper[i] + step.tol || force[i] < step.lower[i] - step.tol);
      more = more || over;
      return on || over ? 1 : 0;
    });
    const turned = hinging.map((on, j) => {
      const over = !on && Math.abs(moment[j]) > p.kinkLimit[j] + step.tol;
      more = more || over;
      return on || over ? 1 : 0;
    });
    if (!more) return step.accept(force, rigid, kink);
    active = wider;
    hinging = turned;
  }
  return null;
}
