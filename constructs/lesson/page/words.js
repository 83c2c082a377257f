/* Sentences about the shown state; every number in them is read from it. */
const mm = (x) => (Math.abs(x) < 0.0995 ? x.toFixed(3) : x.toFixed(2)) + " mm";
const newton = (x) => Math.round(x) + " N";
const about = (x) => Number(x.toPrecision(3)) + " N";   // a limit, as the tour rounds it
const count = (n, one) => (n === 1 ? "one " + one : n + " " + one + "s");

function listed(parts) {
  return parts.length < 2 ? parts.join("") : parts.slice(0, -1).join(", ") + " and " +
    parts[parts.length - 1];
}

/* What is left to hold the fragment, in words. */
function holders(now) {
  const { screws, plates, grafts } = now.parts, out = [];
  if (now.scene.rubs) out.push("friction");
  if (plates.length) {
    out.push(plates.length === 1 ? "a plate with its screws"
      : plates.length + " plates with their screws");
  }
  if (screws) out.push(count(screws, "screw"));
  if (grafts) out.push("graft");
  return out;
}

/* What each kind of source does on the fragment: `share` of its load carried against it, all
   together one; `aside` [N], the push across the load, positive towards +x. */
function carriers(now) {
  const { layout } = now, at = (j) => layout.force[now.fragment][j];
  const force = (j) => [now.state[at(j)], now.state[at(j) + 1]];
  const own = layout.sources.findIndex((s) => s.kind === "load"), load = force(own);
  const size = Math.hypot(...load), found = {};
  if (size < 0.01 * now.load) return { size: 0, kinds: [] };
  const [ux, uy] = load.map((c) => c / size), across = uy < 0 ? [-uy, ux] : [uy, -ux];
  layout.sources.forEach((s, j) => {
    if (j === own) return;
    const [x, y] = force(j), f = found[s.kind] = found[s.kind] || { kind: s.kind, share: 0, aside: 0 };
    f.share -= (x * ux + y * uy) / size;
    f.aside += x * across[0] + y * across[1];
  });
  return { size, kinds: percents(Object.values(found)) };
}

/* Whole percents that add up to 100, as the shares do: what rounding leaves goes to the shares
   that it took most from. */
function percents(kinds) {
  const total = Math.round(100 * kinds.reduce((s, k) => s + k.share, 0));
  kinds.forEach((k) => { k.percent = Math.floor(100 * k.share); });
  let left = total - kinds.reduce((s, k) => s + k.percent, 0);
  kinds.slice().sort((a, b) => (100 * b.share - b.percent) - (100 * a.share - a.percent))
    .forEach((k) => { if (left-- > 0) k.percent += 1; });
  return kinds;
}

const SOURCE = { fracture: "the fracture face", plate: "the plate", screw: "the screws",
  wire: "the wires", graft: "the graft" };
const ASIDE = 0.05;

/* Who carries the fragment's load, and who pushes it sideways, in two sentences. */
function carriedWords(now) {
  const { size, kinds } = carriers(now), name = (k) => SOURCE[k.kind] || k.kind;
  const said = (list) => listed(list.map((k) => name(k) + " (" + Math.abs(k.percent) + " %)"));
  const up = kinds.filter((k) => k.percent > 0).sort((a, b) => b.percent - a.percent);
  const down = kinds.filter((k) => k.percent < 0);
  if (!up.length) return "";
  const out = ["Its load of " + newton(size) + (down.length ? ", and what presses down with it, " +
    said(down) + "," : "") + " is carried by " + said(up) + "."];
  const [left, right] = now.scene.sides, most = Math.max(...kinds.map((k) => Math.abs(k.aside)));
  const pushers = (sign) => listed(kinds.filter((k) => sign * k.aside > 0.01 * size)
    .sort((a, b) => sign * (b.aside - a.aside))
    .map((k) => name(k) + " (" + newton(Math.abs(k.aside)) + ")"));
  if (most > ASIDE * size && pushers(1) && pushers(-1)) {
    out.push("Pushing sideways: " + pushers(1) + " to " + right + ", " + pushers(-1) + " to " +
      left + ".");
  }
  return out.join(" ");
}

/* What friction alone would have to be, where nothing else is in place: by limit analysis. */
function frictionWords(now) {
  const { need } = now.problem;
  if (need === undefined || !now.scene.rubs) return "";
  if (need === null) {
    return "No friction up to μ = " + now.problem.most_friction + " would be enough.";
  }
  return now.held ? "It needs friction of at least μ = " + need.toFixed(2) + "."
    : "It would need friction of at least μ = " + need.toFixed(2) + ", and has " +
      now.wanted.friction.toFixed(2) + ".";
}

function outcome(now) {
  const name = now.layout.fragments[now.fragment];
  if (now.verdict === "not known") {
    return "Not known at " + newton(now.load) + ": the solver found no answer here, which says " +
      "nothing of whether it is held.";
  }
  if (!now.held) {
    const why = now.goes ? ": " + now.goes : "";
    const limit = now.end > 1 ? " The peak is about " + about(now.end) + "." : "";
    return "Not held at " + newton(now.load) + why + "." + limit + " " + frictionWords(now);
  }
  const { state, layout } = now, sunk = state[layout.sunk[now.fragment]];
  const out = ["“" + name + "” moves up to " + mm(now.moves[now.fragment]) +
    " and its joint surface " + (sunk >= 0 ? "subsides " : "rises ") + mm(Math.abs(sunk))];
  const edges = layout.edge.map((e) => [state[e], state[e + 1]]);
  if (edges.length) {
    out.push("step-off " + mm(Math.max(...edges.map((e) => Math.abs(e[0])))));
    const gap = Math.max(...edges.map((e) => e[1]));
    if (gap > 0.005) out.push("gap " + mm(gap));
  }
  const turn = Math.abs(state[layout.rigid[now.fragment] + 2]) * 180 / Math.PI;
  if (turn >= 0.005) out.push("tilt " + turn.toFixed(2) + "°");
  return "Held at " + newton(now.load) + ": " + out.join(", ") + ". " + carriedWords(now) + " " +
    frictionWords(now);
}

/* What was changed, and what that did, compared with the state before. */
function change(before, now, what) {
  if (!before || before.scene !== now.scene) return "";
  if (what.startsWith("part ") || what === "graft") {
    const name = what === "graft" ? "the graft" : "“" + what.slice(5) + "”", left = holders(now);
    const on = what === "graft" ? now.graft : !now.out.has(what.slice(5));
    return (on ? "With " + name + ": " : "Without " + name + ", nothing stops the fragment" +
      (left.length ? " but " + listed(left) + ": " : ": ")) + compared(before, now);
  }
  if (what === "load") {
    return "Load " + newton(before.load) + " before, " + newton(now.load) + " now: " +
      compared(before, now);
  }
  if (what in NAMES) {
    // Slope and plate are built in pairs: where one takes the other along, that is said.
    const also = ["slope", "position"].filter((a) => a !== what && before.label[a] !== now.label[a])
      .map((a) => ", with the " + NAMES[a].toLowerCase() + " at " + now.label[a]).join("");
    return NAMES[what] + " " + before.label[what] + " before, " + now.label[what] + " now" + also + ": " +
      compared(before, now);
  }
  if (what === "choice") return "Now " + now.choice + ": " + compared(before, now);
  return "";
}

const NAMES = { slope: "Fracture angle", strength: "Bone strength", position: "Plate", friction: "Friction",
  tension: "Screw tension" };

function compared(before, now) {
  if (now.verdict === "not known") return "what it does is not known.";
  if (before.held && !now.held) return "the fragment is no longer held.";
  if (!before.held && now.held) return before.fails ? "the fragment is held again." : "the fragment is held.";
  if (!now.held) return before.fails ? "still not held." : "not held.";
  const read = (n) => n.largest;
  const a = read(before), b = read(now), off = Math.max(0.005, 0.02 * Math.max(a, b));
  if (Math.abs(a - b) < off) return "it moves as before, up to " + mm(b) + ".";
  return "it moves " + (b > a ? "more" : "less") + ", up to " + mm(b) + " instead of " + mm(a) + ".";
}
