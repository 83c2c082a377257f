/* Sentences about the shown state; every number in them is read from solved states. */
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
  const { screws, plates, grafts } = now.family.parts, out = [];
  if (now.scene.friction) out.push("friction");
  if (plates.length) {
    out.push(plates.length === 1 ? "a plate with its screws"
      : plates.length + " plates with their screws");
  }
  if (screws) out.push(count(screws, "screw"));
  if (grafts.length) out.push("graft");
  return out;
}

/* What each kind of source does on the fragment: `share` of its load carried against it, all
   together one; `aside` [N], the push across the load, positive towards +x. */
function carriers(now) {
  const { layout } = now.family, at = (j) => layout.force[now.fragment][j];
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

function frictionWords(now) {
  if (!now.scene.friction || now.family.axes[3].length < 2) return "";
  const need = leastFriction(now.family, now.point, now.load);
  const top = now.family.axes[3][now.family.axes[3].length - 1];
  if (now.held) {
    return need === null ? "" : need <= 0.001 ? "It would hold even without friction."
      : "It needs friction of at least μ = " + need.toFixed(2) + ".";
  }
  if (now.status === 2) return "";
  if (need === null) return "No friction up to μ = " + top.toFixed(1) + " would be enough.";
  return "It would need friction of at least μ = " + need.toFixed(2) + ", and has " +
    now.point[3].toFixed(2) + ".";
}

function outcome(now) {
  const name = now.family.layout.fragments[now.fragment];
  if (!now.held && now.status === 3) {
    return "No answer at " + newton(now.load) + ": the solver did not converge here.";
  }
  if (!now.held) {
    const why = now.status === 2 ? ": the bone fails while the screws are tightened"
      : now.go ? ": " + now.go : "";
    const limit = now.end > 1 ? " The peak is about " + about(now.end) + "." : "";
    return "Not held at " + newton(now.load) + why + "." + limit + " " + frictionWords(now);
  }
  const { state, family } = now, sunk = state[family.layout.sunk[now.fragment]];
  const out = ["“" + name + "” moves up to " + mm(now.moves[now.fragment]) +
    " and its joint surface " + (sunk >= 0 ? "subsides " : "rises ") + mm(Math.abs(sunk))];
  const edges = family.layout.edge.map((e) => [state[e], state[e + 1]]);
  if (edges.length) {
    out.push("step-off " + mm(Math.max(...edges.map((e) => Math.abs(e[0])))));
    const gap = Math.max(...edges.map((e) => e[1]));
    if (gap > 0.005) out.push("gap " + mm(gap));
  }
  const turn = Math.abs(state[family.layout.rigid[now.fragment] + 2]) * 180 / Math.PI;
  if (turn >= 0.005) out.push("tilt " + turn.toFixed(2) + "°");
  return "Held at " + newton(now.load) + ": " + out.join(", ") + ". " + carriedWords(now) + " " +
    frictionWords(now);
}

const SWITCH = { screws: "screws", plate: "plate and its screws", graft: "graft" };

/* What was changed, and what that did, compared with the state before. */
function change(before, now, what) {
  if (!before || before.scene !== now.scene) return "";
  if (what in SWITCH) {
    const on = now.switches[what];
    const left = holders(now);
    const begin = on ? "With the " + SWITCH[what] + ": "
      : "Without the " + SWITCH[what] + ", nothing stops the fragment" +
        (left.length ? " but " + listed(left) + ": " : ": ");
    return begin + compared(before, now);
  }
  const a = ["slope", "quality", "position", "friction"].indexOf(what);
  if (what === "load") {
    return "Load " + newton(before.load) + " before, " + newton(now.load) + " now: " +
      compared(before, now);
  }
  if (a >= 0) {
    const [from, to] = [before, now].map((n) => n.label[what]);
    return NAMES[what] + " " + from + " before, " + to + " now: " + compared(before, now);
  }
  if (what === "choice") return "Now " + now.choice + ": " + compared(before, now);
  return "";
}

const NAMES = { slope: "Fracture angle", quality: "Bone", position: "Plate", friction: "Friction" };

function compared(before, now) {
  if (before.held && !now.held) return "the fragment is no longer held.";
  if (!before.held && now.held) return "the fragment is held again.";
  if (!now.held) return "still not held.";
  const read = (n) => n.largest;
  const a = read(before), b = read(now), off = Math.max(0.005, 0.02 * Math.max(a, b));
  if (Math.abs(a - b) < off) return "it moves as before, up to " + mm(b) + ".";
  return "it moves " + (b > a ? "more" : "less") + ", up to " + mm(b) + " instead of " + mm(a) + ".";
}
