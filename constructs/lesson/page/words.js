/* Sentences about the shown state; every number in them is read from solved states. */
const mm = (x) => (Math.abs(x) < 0.0995 ? x.toFixed(3) : x.toFixed(2)) + " mm";
const newton = (x) => Math.round(x) + " N";
const count = (n, one) => (n === 1 ? "one " + one : n + " " + one + "s");

function listed(parts) {
  return parts.length < 2 ? parts.join("") : parts.slice(0, -1).join(", ") + " and " +
    parts[parts.length - 1];
}

/* What is left to hold the fragment, in words. */
function holders(now) {
  const { screws, plates, grafts } = now.family.parts, out = [];
  if (now.scene.friction) out.push("friction");
  if (plates.length) out.push(plates.length === 1 ? "a plate" : plates.length + " plates");
  if (screws) out.push(count(screws, "screw"));
  if (grafts.length) out.push("graft");
  return out;
}

/* How much of the load on the fragment each kind of source carries against it, in percent. */
function shares(now, forces) {
  const load = forces.find((f) => f.kind === "load");
  if (!load) return [];
  const sums = {};
  for (const f of forces) {
    if (f.kind === "load") continue;
    const part = -(f.force[0] * load.force[0] + f.force[1] * load.force[1]) / load.size ** 2;
    sums[f.kind] = (sums[f.kind] || 0) + part;
  }
  const names = { fracture: "the fracture face", plate: "the plate", screw: "the screws",
    wire: "the wires", graft: "the graft" };
  return Object.entries(sums).filter(([, v]) => Math.abs(v) >= 0.01)
    .sort((a, b) => b[1] - a[1])
    .map(([k, v]) => names[k] + " (" + Math.round(100 * v) + " %)");
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

function outcome(now, forces) {
  const name = now.family.layout.fragments[now.fragment];
  if (!now.held && now.status === 3) {
    return "No answer at " + newton(now.load) + ": the solver did not converge here.";
  }
  if (!now.held) {
    const why = now.status === 2 ? "the bone lets go while the screws are tightened"
      : now.go ? "what lets go: " + now.go : "";
    const limit = now.end > 1 ? " The limit is about " + newton(now.end) + "." : "";
    return "Not held at " + newton(now.load) + (why ? ": " + why : "") + "." + limit + " " +
      frictionWords(now);
  }
  const { state, family } = now, sunk = state[family.layout.sunk[now.fragment]];
  const out = ["Held at " + newton(now.load) + ": the joint surface of “" + name + "” " +
    (sunk >= 0 ? "sinks " : "rises ") + mm(Math.abs(sunk))];
  const edges = family.layout.edge.map((e) => [state[e], state[e + 1]]);
  if (edges.length) {
    out.push("step " + mm(Math.max(...edges.map((e) => Math.abs(e[0])))));
    const gap = Math.max(...edges.map((e) => e[1]));
    if (gap > 0.005) out.push("the joint line gapes " + mm(gap));
  }
  const turn = Math.abs(state[family.layout.rigid[now.fragment] + 2]) * 180 / Math.PI;
  if (turn >= 0.05) out.push("it tilts " + turn.toFixed(2) + "°");
  const carried = shares(now, forces);
  return out.join(", ") + ". " + (carried.length ? "Its load is carried by " +
    listed(carried) + ". " : "") + frictionWords(now);
}

const SWITCH = { screws: ["screws", "screw"], plate: ["plate", "plate"],
  graft: ["graft", "graft"] };

/* What was changed, and what that did, beside the state before. */
function change(before, now, what) {
  if (!before || before.scene !== now.scene) return "";
  if (what in SWITCH) {
    const on = now.switches[what];
    const left = holders(now);
    const begin = on ? "With the " + SWITCH[what][0] + ": "
      : "Without the " + SWITCH[what][0] + ", nothing stops the fragment" +
        (left.length ? " but " + listed(left) + ": " : ": ");
    return begin + compared(before, now);
  }
  const a = ["slope", "quality", "position", "friction"].indexOf(what);
  if (what === "load") {
    return "Load from " + newton(before.load) + " to " + newton(now.load) + ": " +
      compared(before, now);
  }
  if (a >= 0) {
    const [from, to] = [before, now].map((n) => n.label[what]);
    return NAMES[what] + " from " + from + " to " + to + ": " + compared(before, now);
  }
  if (what === "choice") return "Now " + now.choice + ": " + compared(before, now);
  return "";
}

const NAMES = { slope: "Slope", quality: "Bone", position: "Plate", friction: "Friction" };

function compared(before, now) {
  if (before.held && !now.held) return "the fragment is no longer held.";
  if (!before.held && now.held) return "the fragment is held again.";
  if (!now.held) return "still not held.";
  const read = (n) => n.largest;
  const a = read(before), b = read(now), off = Math.max(0.005, 0.02 * Math.max(a, b));
  if (Math.abs(a - b) < off) return "it moves as before, " + mm(b) + " at most.";
  return "it moves " + (b > a ? "more" : "less") + ", " + mm(b) + " at most instead of " + mm(a) +
    ".";
}
