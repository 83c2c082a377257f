"use strict";
/* Dense linear algebra. Matrices are Float64Array by rows; vectors are typed arrays. */

/* LU factors with row pivots of a matrix (n, n), which is overwritten. */
function factorised(a, n) {
  const order = new Int32Array(n);
  let singular = false;
  for (let k = 0; k < n; k++) {
    let p = k, most = Math.abs(a[k * n + k]);
    for (let i = k + 1; i < n; i++) {
      const size = Math.abs(a[i * n + k]);
      if (size > most) { most = size; p = i; }
    }
    order[k] = p;
    if (most === 0) { singular = true; continue; }
    if (p !== k) swapRows(a, n, p, k);
    const pivot = 1 / a[k * n + k], row = k * n;
    for (let i = k + 1; i < n; i++) {
      const at = i * n, f = a[at + k] * pivot;
      if (f === 0) continue;
      a[at + k] = f;
      for (let j = k + 1; j < n; j++) a[at + j] -= f * a[row + j];
    }
  }
  return { lu: a, order, n, singular };
}

function swapRows(a, n, i, k) {
  for (let j = 0; j < n; j++) {
    const t = a[i * n + j];
    a[i * n + j] = a[k * n + j];
    a[k * n + j] = t;
  }
}

/* Solves A x = b in place. */
function solved({ lu, order, n }, b) {
  for (let k = 0; k < n; k++) {
    const p = order[k];
    if (p !== k) { const t = b[p]; b[p] = b[k]; b[k] = t; }
  }
  for (let i = 1; i < n; i++) {
    let s = b[i];
    for (let j = 0, at = i * n; j < i; j++) s -= lu[at + j] * b[j];
    b[i] = s;
  }
  for (let i = n - 1; i >= 0; i--) {
    let s = b[i];
    for (let j = i + 1, at = i * n; j < n; j++) s -= lu[at + j] * b[j];
    b[i] = s / lu[i * n + i];
  }
  return b;
}

/* Solves A^T x = b in place. */
function solvedAcross({ lu, order, n }, b) {
  for (let i = 0; i < n; i++) {
    b[i] /= lu[i * n + i];
    for (let j = i + 1, at = i * n; j < n; j++) b[j] -= lu[at + j] * b[i];
  }
  for (let i = n - 1; i > 0; i--) {
    for (let j = 0, at = i * n; j < i; j++) b[j] -= lu[at + j] * b[i];
  }
  for (let k = n - 1; k >= 0; k--) {
    const p = order[k];
    if (p !== k) { const t = b[p]; b[p] = b[k]; b[k] = t; }
  }
  return b;
}

const sumOf = (x) => { let s = 0; for (const v of x) s += Math.abs(v); return s; };
const mostOf = (x) => { let s = 0; for (const v of x) { const a = Math.abs(v); if (a > s) s = a; } return s; };

/* Largest sum of sizes of a column. */
function columnNorm(a, n) {
  const sums = new Float64Array(n);
  for (let i = 0; i < n; i++) for (let j = 0; j < n; j++) sums[j] += Math.abs(a[i * n + j]);
  return mostOf(sums);
}

/* Reciprocal condition of a factorised matrix of a norm (Hager 1984, as LAPACK's gecon). */
function soundness(factor, norm) {
  const { n } = factor;
  if (factor.singular || !n) return n ? 0 : 1;
  let x = new Float64Array(n).fill(1 / n), most = 0;
  for (let round = 0; round < 5; round++) {
    const y = solved(factor, x.slice()), size = sumOf(y);
    if (!(size > most)) break;
    most = size;
    const z = solvedAcross(factor, y.map((v) => (v >= 0 ? 1 : -1)));
    let at = 0, dot = 0;
    for (let i = 0; i < n; i++) { dot += z[i] * x[i]; if (Math.abs(z[i]) > Math.abs(z[at])) at = i; }
    if (Math.abs(z[at]) <= dot) break;
    x = new Float64Array(n);
    x[at] = 1;
  }
  return most > 0 && Number.isFinite(most) ? 1 / (norm * most) : 0;
}

/* Inverse of a matrix (n, n), which is overwritten; null where a pivot vanishes. */
function inverted(a, n) {
  const order = new Int32Array(n);
  for (let k = 0; k < n; k++) {
    let p = k, most = Math.abs(a[k * n + k]);
    for (let i = k + 1; i < n; i++) {
      const size = Math.abs(a[i * n + k]);
      if (size > most) { most = size; p = i; }
    }
    if (most === 0) return null;
    order[k] = p;
    if (p !== k) swapRows(a, n, p, k);
    const row = k * n, pivot = 1 / a[row + k];
    a[row + k] = 1;
    for (let j = 0; j < n; j++) a[row + j] *= pivot;
    for (let i = 0; i < n; i++) {
      const at = i * n, f = a[at + k];
      if (i === k || f === 0) continue;
      a[at + k] = 0;
      for (let j = 0; j < n; j++) a[at + j] -= f * a[row + j];
    }
  }
  for (let k = n - 1; k >= 0; k--) {
    const p = order[k];
    if (p === k) continue;
    for (let i = 0; i < n; i++) {
      const t = a[i * n + p];
      a[i * n + p] = a[i * n + k];
      a[i * n + k] = t;
    }
  }
  return a;
}

/* A direction that a factorised, nearly singular matrix takes to nothing. */
function nothingTo(factor, norm) {
  const { lu, n } = factor, least = 1e-15 * norm;
  for (let i = 0; i < n; i++) if (Math.abs(lu[i * n + i]) < least) lu[i * n + i] = least;
  let x = new Float64Array(n).map((_, i) => 1 + 0.1 * Math.sin(i + 1));
  for (let round = 0; round < 3; round++) {
    x = solved(factor, solvedAcross(factor, x));
    const size = Math.hypot(...x);
    x = x.map((v) => v / size);
  }
  return x;
}

/* Columns of a matrix (f, m) by rows that are independent: by pivoted orthogonalisation. */
function independent(a, f, m) {
  const left = a.slice(), found = [];
  const size = (j) => { let s = 0; for (let i = 0; i < f; i++) s += left[i * m + j] ** 2; return Math.sqrt(s); };
  let first = 0;
  for (let round = 0; round < Math.min(f, m); round++) {
    let best = -1, most = 0;
    for (let j = 0; j < m; j++) {
      if (found.includes(j)) continue;
      const now = size(j);
      if (now > most) { most = now; best = j; }
    }
    if (!round) first = most;
    if (best < 0 || most <= 1e-3 * first) break;
    found.push(best);
    for (let j = 0; j < m; j++) {
      if (found.includes(j)) continue;
      let dot = 0;
      for (let i = 0; i < f; i++) dot += left[i * m + best] * left[i * m + j];
      dot /= most * most;
      for (let i = 0; i < f; i++) left[i * m + j] -= dot * left[i * m + best];
    }
  }
  return found.sort((x, y) => x - y);
}
