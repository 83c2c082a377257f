/* A condensed problem as it was embedded, what of it is in place, and its law. `fe/links` says what
   the numbers are; the ram is the last link. */
const RAM_ON = -2;   // body that the ram is listed at: it is always there

/* Numbers of an embedded problem; deflated, so that a promise is returned. */
async function opened(given) {
  const raw = atob(given.bytes), bytes = new Uint8Array(raw.length);
  for (let i = 0; i < raw.length; i++) bytes[i] = raw.charCodeAt(i);
  const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("deflate-raw"));
  const ranked = new Uint8Array(await new Response(stream).arrayBuffer());
  const count = Object.values(given.sizes).reduce((sum, size) => sum + size, 0);
  const kept = ranked.length / count, plain = new Uint8Array(8 * count);
  for (let r = 0; r < kept; r++) {      // the highest bytes of each number; the others are zero
    for (let i = 0, at = 8 - kept + r; i < count; i++) plain[8 * i + at] = ranked[r * count + i];
  }
  const all = new Float64Array(plain.buffer), a = {};
  let at = 0;
  for (const [name, size] of Object.entries(given.sizes)) {
    a[name] = all.subarray(at, at + size);
    at += size;
  }
  const n = given.links, whole = new Float64Array(n * n);
  for (let i = 0, k = 0; i < n; i++) {
    for (let j = i; j < n; j++, k++) whole[i * n + j] = whole[j * n + i] = a.flexibility[k];
  }
  return { ...given, ...a, flexibility: whole, bytes: null, known: new Map(), stuck: new Map() };
}

const chosen = (values, kept) => Float64Array.from(kept, (i) => values[i]);

function block(table, width, rows, columns) {
  const out = new Float64Array(rows.length * columns.length);
  rows.forEach((i, r) => columns.forEach((j, c) => {
    out[r * columns.length + c] = table[i * width + j];
  }));
  return out;
}

/* The problem without the bodies `out`: their links, motions and kinks go with them. */
function withoutBodies(whole, out) {
  const there = (body) => body < 0 || !out.has(body), count = (k) => Array.from({ length: k }, (_, i) => i);
  const links = count(whole.links).filter((i) => there(whole.bodyA[i]) && there(whole.bodyB[i]));
  const motions = count(whole.motions).filter((i) => there(whole.ofMotion[i]));
  const kinks = count(whole.kinks).filter((i) => there(whole.ofKink[i]));
  const renumbered = new Map(links.map((i, k) => [i, k]));
  const n = links.length, m = motions.length, h = kinks.length;
  const p = { whole, links, motions, kinks, n, m, h,
    F: block(whole.flexibility, whole.links, links, links),
    G: block(whole.rigid, whole.motions, links, motions),
    K: block(whole.kinksOf, whole.kinks, links, kinks),
    partner: Int32Array.from(links, (i) => renumbered.get(whole.partner[i]) ?? 0),
    number: renumbered };
  for (const name of ["compliance", "gap", "slope", "opens"]) p[name] = chosen(whole[name], links);
  for (const name of ["kinkLimit", "kinkSlope"]) p[name] = chosen(whole[name], kinks);
  p.farthest = chosen(whole.farthest, motions);
  p.start = Int8Array.from(links, (i) => whole.start[i]);
  p.startKinks = Int8Array.from(kinks, (j) => whole.start[whole.links + j]);
  p.felt = kinks.map((_, j) => {      // the links that feel a kink: those of its own member
    const at = [];
    for (let i = 0; i < n; i++) if (p.K[i * h + j] !== 0) at.push(i);
    return { at: Int32Array.from(at), by: Float64Array.from(at, (i) => p.K[i * h + j]) };
  });
  return p;
}

/* Bounds and friction at the settings {friction, strength}. */
function lawOf(p, { friction, strength }) {
  const { bounds, faces, friction: own, links: total } = p.whole;
  const line = (k, i) => {
    const at = bounds[2 * k * total + i], by = bounds[(2 * k + 1) * total + i];
    return by === 0 ? at : at + by * strength;
  };
  const n = p.n, lower = new Float64Array(n), upper = new Float64Array(n), rubs = new Float64Array(n);
  p.links.forEach((i, k) => {
    lower[k] = line(0, i);
    upper[k] = Math.min(line(1, i), line(2, i));
    rubs[k] = faces[i] ? friction : own[i];
  });
  return { lower, upper, friction: rubs };
}

/* The state in which every link sticks, and its inverse; null where a body is loose even so. */
const LOOSE = 1e-13, FLOOR = 1e-4, LAYER = 1e-7, WEAK = 1e-6;

function median(values) {
  const v = Float64Array.from(values).sort(), k = v.length >> 1;
  return v.length % 2 ? v[k] : 0.5 * (v[k - 1] + v[k]);
}

class Sticking {
  /* `all`: the same of the whole problem, from whose inverse that of a part follows. */
  constructor(p, all = null) {
    this.p = p;
    this.seats = new Map();     // how the parts sit under a small force, by friction
    const { n, h } = p;
    const places = all && p.links.map((i) => all.p.number.get(i));
    this.stiff = all ? block(all.stiff, all.p.n, places, places) : p.F.slice();
    if (!all) for (let i = 0; i < n; i++) this.stiff[i * n + i] += p.compliance[i];
    const own = new Float64Array(n).map((_, i) => this.stiff[i * n + i]);
    const floor = Math.max(FLOOR * median(own), 1e-300);
    this.scale = own.map((x) => Math.max(x, floor));
    this.unit = all ? all.unit : this.scale.reduce((s, x) => s + x, 0) / n;
    this.inverse = all ? this.sound(this.partOf(all)) : this.invert();
    if (!this.inverse && !all) {     // redundant links where three bodies meet: a thin layer there
      const bare = new Float64Array(n).map((_, i) => p.F[i * n + i]), least = FLOOR * median(bare);
      for (let i = 0; i < n; i++) {
        if (!(p.compliance[i] > 0)) this.stiff[i * n + i] += LAYER * Math.max(bare[i], least);
      }
      this.inverse = this.invert();
    }
    this.kinkScale = new Float64Array(h);
    if (this.inverse) this.bend();
    if (this.inverse && p.start.some((x) => x)) {
      this.base({ friction: chosen(p.whole.friction, p.links), slopeHigh: p.slope, slopeLow: p.slope,
        partner: p.partner }, { state: p.start, turning: p.startKinks });
    }
  }

  system() {
    const { n, m, G } = this.p, all = n + m, a = new Float64Array(all * all);
    for (let i = 0; i < n; i++) {
      for (let j = 0; j < n; j++) a[i * all + j] = this.stiff[i * n + j] / this.unit;
      for (let j = 0; j < m; j++) {
        a[i * all + n + j] = -G[i * m + j];
        a[(n + j) * all + i] = G[i * m + j];
      }
    }
    return a;
  }

  /* The inverse of what is left of a matrix: A_kk - A_kr A_rr^-1 A_rk, `r` being left out. */
  partOf({ p: whole, inverse }) {
    if (!inverse) return null;
    const wide = whole.n + whole.m, { p } = this;
    const kept = [...p.links.map((i) => whole.number.get(i)),
      ...p.motions.map((j) => whole.n + whole.motions.indexOf(j))], there = new Set(kept);
    const left = Array.from({ length: wide }, (_, i) => i).filter((i) => !there.has(i));
    const k = kept.length, r = left.length, out = block(inverse, wide, kept, kept);
    const middle = factorised(block(inverse, wide, left, left), r);
    if (middle.singular) return null;
    const across = block(inverse, wide, left, kept), turned = new Float64Array(r);
    for (let c = 0; c < k; c++) {
      for (let i = 0; i < r; i++) turned[i] = across[i * k + c];
      solved(middle, turned);
      for (let i = 0; i < r; i++) across[i * k + c] = turned[i];
    }
    for (let i = 0; i < k; i++) {
      const row = out.subarray(i * k, (i + 1) * k);
      for (let c = 0; c < r; c++) {
        const f = inverse[kept[i] * wide + left[c]];
        if (f) addTo(row, across.subarray(c * k, (c + 1) * k), -f);
      }
    }
    return out;
  }

  /* An inverse, symmetric but for the sign of what belongs to motions, so that a column is read as
     a row; null where the problem is nearly singular. */
  sound(out, norm = columnNorm(this.system(), this.p.n + this.p.m)) {
    const { n, m } = this.p, all = n + m;
    if (!out || !(1 / (norm * columnNorm(out, all)) >= LOOSE)) return null;
    for (let i = 0; i < all; i++) {
      for (let j = i + 1; j < all; j++) {
        const sign = (i < n) === (j < n) ? 1 : -1;
        const mean = 0.5 * (out[i * all + j] + sign * out[j * all + i]);
        out[i * all + j] = mean;
        out[j * all + i] = sign * mean;
      }
    }
    return out;
  }

  invert() {
    const a = this.system(), all = this.p.n + this.p.m, norm = columnNorm(a, all);
    return this.sound(inverted(a, all), norm);
  }

  /* Adds the answer to a unit right-hand side at a link, times a factor. */
  addColumn(out, link, factor) {
    const { n, m } = this.p, all = n + m, at = link * all, a = this.inverse;
    for (let i = 0; i < n; i++) out[i] += factor * a[at + i];
    for (let i = n; i < all; i++) out[i] -= factor * a[at + i];
  }

  /* The table of answers `y` (forces of links, K^T f of kinks, motions) to unit slacks and kinks
     `x`, one row for each of them. */
  bend() {
    const { n, m, h, felt } = this.p, units = n + h, rows = this.rows = units + m;
    const turned = (column) => {
      for (let j = 0; j < h; j++) {
        const { at, by } = felt[j];
        let s = 0;
        for (let k = 0; k < at.length; k++) s += by[k] * column[at[k]];
        column[n + j] = s;
      }
      return column;
    };
    const spread = (links, factors) => {
      const answer = new Float64Array(n + m), out = new Float64Array(rows);
      links.forEach((i, k) => this.addColumn(answer, i, factors[k]));
      out.set(answer.subarray(0, n));
      out.set(answer.subarray(n), units);
      return turned(out);
    };
    this.table = [];
    for (let i = 0; i < n; i++) this.table.push(spread([i], [-this.scale[i] / this.unit]));
    felt.forEach(({ at, by }, j) => {
      const row = spread(at, by.map((v) => v / this.unit)), own = row[n + j];
      this.kinkScale[j] = 1 / Math.max(own, 1e-12 / this.unit);
      this.table.push(row.map((v) => v * this.kinkScale[j]));
    });
    this.based = new Uint8Array(units);
    this.bases = 0;
  }

  /* Exchanges slack and force of what is at a fixed bound in a state that was found, and no more of
     what was so in the base before, so that states near it need small systems only. */
  base(step, { state, turning }) {
    const { n, h } = this.p;
    this.bases++;
    for (let u = 0; u < n + h; u++) {
      const link = u < n, now = link ? state[u] : turning[u - n];
      const free = !now || u === n - 1 || !link || step.slopeHigh[u] || step.slopeLow[u] ||
        (step.friction[u] > 0 && state[step.partner[u]] >= 0);
      if (this.based[u] !== (free ? 0 : 1)) this.exchange(u);
    }
  }

  exchange(u) {
    const own = this.table[u], pivot = own[u];
    if (!(Math.abs(pivot) > WEAK)) return;
    for (let c = 0; c < this.table.length; c++) {
      const column = this.table[c], f = column[u];
      if (c === u || f === 0) continue;
      addTo(column, own, -f / pivot);
      column[u] = -f / pivot;
    }
    for (let r = 0; r < own.length; r++) own[r] /= pivot;
    own[u] = 1 / pivot;
    this.based[u] ^= 1;
  }
}

/* out += factor * row */
function addTo(out, row, factor) {
  for (let i = 0; i < row.length; i++) out[i] += factor * row[i];
}
