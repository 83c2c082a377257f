"use strict";
/* Solved states: unpacking them, and reading between them. `interpolate.py` says the same. */
const UNLIMITED = 5e3, LEAST_END = 1;

function unpack(table) {
  const raw = atob(table.bytes), bytes = new Uint8Array(raw.length);
  for (let i = 0; i < raw.length; i++) bytes[i] = raw.charCodeAt(i);
  const whole = new Uint16Array(bytes.buffer), width = table.low.length;
  const out = new Float64Array(whole.length);
  for (let i = 0; i < whole.length; i++) {
    const c = i % width;
    out[i] = table.low[c] + whole[i] * table.step[c];
  }
  return { values: out, width };
}

function open(family) {
  if (family.open) return family.open;
  const states = unpack(family.states), geometry = unpack(family.geometry);
  const first = [], strides = [0, 0, 0, 0];
  let sum = 0;
  for (const n of family.paths.count) { first.push(sum); sum += n; }
  for (let a = 3, s = 1; a >= 0; a--) { strides[a] = s; s *= family.axes[a].length; }
  family.open = { states, geometry, first, strides };
  return family.open;
}

/* Corners of the cell around a point (slope, quality, position, friction): [indices, weight]. */
function cell(family, point) {
  let found = [[[], 1]];
  family.axes.forEach((nodes, a) => {
    const value = Math.min(Math.max(point[a], nodes[0]), nodes[nodes.length - 1]);
    let k = 0;
    while (k < nodes.length - 1 && nodes[k + 1] <= value) k++;
    const t = k === nodes.length - 1 ? 0 : (value - nodes[k]) / (nodes[k + 1] - nodes[k]);
    const sides = t < 1e-9 ? [[k, 1]] : [[k, 1 - t], [k + 1, t]];
    found = found.flatMap(([i, w]) => sides.map(([s, v]) => [[...i, s], w * v]));
  });
  return found;
}

function pathAt(family, index) {
  const { strides } = open(family);
  return index.reduce((s, i, a) => s + i * strides[a], 0);
}

function topOf(family, path) {
  const n = family.paths.count[path];
  return n ? family.loads[open(family).first[path] + n - 1] : -1;
}

function addState(family, path, load, weight, out) {
  const { states, first } = open(family), n = family.paths.count[path], at = first[path];
  let k = 1;
  while (k < n - 1 && family.loads[at + k] < load) k++;
  const a = family.loads[at + k - 1], b = n > 1 ? family.loads[at + k] : a;
  const t = n > 1 ? Math.min(Math.max((load - a) / (b - a), 0), 1) : 0;
  const one = (at + k - 1) * states.width, two = n > 1 ? one + states.width : one;
  for (let c = 0; c < states.width; c++) {
    out[c] += weight * ((1 - t) * states.values[one + c] + t * states.values[two + c]);
  }
}

/* Limit load of corners [path, weight]: null where the model does not limit it. */
function limitLoad(family, corners, friction) {
  const { need, end } = family.paths;
  if (corners.every(([p]) => need[p] !== null)) {
    return friction >= corners.reduce((s, [p, w]) => s + w * need[p], 0) ? null : 0;
  }
  return meanLoad(corners.map(([p, w]) => [end[p], w]));
}

function meanLoad(loads) {
  if (loads.every(([load]) => load === null)) return null;
  const mean = loads.reduce((s, [load, w]) => s + w * Math.log(
    Math.max(load === null ? UNLIMITED : Math.min(load, UNLIMITED), LEAST_END)), 0);
  return mean > Math.log(1.5 * LEAST_END) ? Math.exp(mean) : 0;
}

const HOLDS = 0, GIVES = 1, NOT_HELD = 2;

function kindOf(family, path, load) {
  if (load > topOf(family, path) * (1 + 1e-9)) return NOT_HELD;
  const knee = family.paths.knee[path];
  return knee !== null && load > knee ? GIVES : HOLDS;
}

function fitCorners(family, point) {
  const found = cell(family, point).map(([i, w]) => [pathAt(family, i), w, i]);
  const fit = found.filter(([p]) => family.paths.status[p] !== 1);
  const total = fit.reduce((s, f) => s + f[1], 0);
  return { found, fit: fit.map(([p, w, i]) => [p, w / total, i]) };
}

function readState(family, point, load) {
  const { found, fit } = fitCorners(family, point);
  if (!fit.length) return null;
  const end = limitLoad(family, fit, point[3]);
  const kinds = fit.map(([p]) => kindOf(family, p, load));
  const heaviest = (list) => list.reduce((a, b) => (b[1] > a[1] ? b : a));
  const state = new Float64Array(open(family).states.width);
  if (fit.length === found.length && kinds.every((k) => k === kinds[0]) && kinds[0] !== GIVES) {
    const held = kinds[0] === HOLDS;
    if (held) fit.forEach(([p, w]) => addState(family, p, load, w, state));
    return { held, mixed: false, state: held ? state : null, end, corner: heaviest(fit) };
  }
  const { knee, end: ends } = family.paths;
  const gives = meanLoad(fit.map(([p, w]) => [knee[p] === null ? ends[p] : knee[p], w]));
  const wanted = end !== null && load > end ? NOT_HELD
    : gives !== null && load > gives ? GIVES : HOLDS;
  const shown = kinds.slice().sort((a, b) => Math.abs(a - wanted) - Math.abs(b - wanted) ||
    a - b)[0];
  const corner = heaviest(fit.filter((f, i) => kinds[i] === shown)), held = shown !== NOT_HELD;
  if (held) addState(family, corner[0], load, 1, state);
  return { held, mixed: true, gives: shown === GIVES, state: held ? state : null, end, corner };
}

/* Least friction with which the hardware holds the load here: a number, 0 where it holds without
   any, or null where no friction of the slider is enough; read from limit loads. */
function leastFriction(family, point, load) {
  const nodes = family.axes[3];
  const at = (mu) => [point[0], point[1], point[2], mu];
  const { fit } = fitCorners(family, point);
  if (fit.length && fit.every(([p]) => family.paths.need[p] !== null)) {
    return fit.reduce((s, [p, w]) => s + w * family.paths.need[p], 0);
  }
  if (nodes.length < 2) return null;
  const holds = (mu) => {
    const seen = readState(family, at(mu), load);
    return seen !== null && (seen.end === null || load <= seen.end) && (seen.held || seen.mixed);
  };
  let low = nodes[0], high = nodes[nodes.length - 1];
  if (!holds(high)) return null;
  if (holds(low)) return 0;
  for (let i = 0; i < 12; i++) {
    const middle = 0.5 * (low + high);
    if (holds(middle)) high = middle; else low = middle;
  }
  return high;
}

/* Outlines, members and places at a point, read between the nodes of slope and plate. */
function readGeometry(family, point) {
  const { geometry } = open(family), places = family.axes[2].length;
  const out = new Float64Array(geometry.width);
  let total = 0;
  for (const [index, weight] of cell(family, point)) {
    const row = family.rows[index[0] * places + index[2]];
    if (row < 0) continue;
    total += weight;
    for (let c = 0; c < geometry.width; c++) {
      out[c] += weight * geometry.values[row * geometry.width + c];
    }
  }
  for (let c = 0; c < out.length; c++) out[c] /= total || 1;
  let at = 0;
  const take = (n) => {
    const points = [];
    for (let i = 0; i < n; i++, at += 2) points.push([out[at], out[at + 1]]);
    return points;
  };
  const rings = family.rings.map((r) => ({ name: r.name, kind: r.kind, points: take(r.points) }));
  const members = family.layout.members.map((m) => ({ ...m, points: take(m.points) }));
  const near = family.layout.fragments.map(() => take(family.layout.sources.length));
  return { rings, members, near };
}
