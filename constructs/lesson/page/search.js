/* The search for the state of all links that is consistent with its own solution: a port of
   `fe/solve/search.py`. */
const FEW = 3, NEARLY = 1e-5, MOST_GUESSES = 50, FEWEST_GUESSES = 20, DEARLY = 25000;

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
function follow(step, { force, slack, kinkStep }, firm = 1, most = mostGuesses(step.p.n)) {
  if (!step.stuck.inverse) return null;
  const { state, turning } = step.project(force, slack, kinkStep, firm);
  return search(step, state, turning, firm, most);
}
