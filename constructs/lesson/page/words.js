/* Sentences about the shown state; every number in them is read from it. */

/* What is left to hold the fragment, in words. */
function holders(now) {
  const { screws, plates, grafts } = now.parts, out = [];
  const many = (key, n) => (n ? [t(key + (n === 1 ? ".one" : ".many"), { n })] : []);
  if (now.scene.rubs) out.push(t("hold.friction"));
  if (plates.length === 1) out.push(t("hold.plate.one", { name: named(plates[0]) }));
  else if (plates.length) out.push(t("hold.plate.many", { n: plates.length }));
  out.push(...many("hold.screw", screws));
  if (grafts) out.push(t("hold.graft"));
  return out;
}

/* What each kind of source does on the fragment: `share` of its load carried against it, all
   together one; `aside` [N], the push across the load, positive towards +x. */
function carriers(now) {
  const { layout } = now, at = (j) => layout.force[now.fragment][j];
  const force = (j) => [now.state[at(j)], now.state[at(j) + 1]];
  const loads = layout.sources.findIndex((s) => s.kind === "load"), load = force(loads);
  const size = Math.hypot(...load), found = {};
  if (size < 0.01 * now.load) return { size: 0, kinds: [] };
  const [ux, uy] = load.map((c) => c / size), across = uy < 0 ? [-uy, ux] : [uy, -ux];
  layout.sources.forEach((s, j) => {
    if (j === loads) return;
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

const sourceWords = (kind) => (has("source." + kind) ? t("source." + kind) : kind);
const ASIDE = 0.05;

/* Who carries the fragment's load, and who pushes it sideways, in two sentences. */
function carriedWords(now) {
  const { size, kinds } = carriers(now), name = (k) => sourceWords(k.kind);
  const said = (list) => listed(list.map((k) => name(k) + " (" + percent(Math.abs(k.percent)) + ")"));
  const up = kinds.filter((k) => k.percent > 0).sort((a, b) => b.percent - a.percent);
  const down = kinds.filter((k) => k.percent < 0);
  if (!up.length) return "";
  const out = [t(down.length ? "carried.with" : "carried", { load: newton(size), up: said(up),
    down: down.length ? said(down) : "" })];
  const [left, right] = now.scene.sides.map((s) => t("side." + s));
  const most = Math.max(...kinds.map((k) => Math.abs(k.aside)));
  const pushers = (sign) => listed(kinds.filter((k) => sign * k.aside > 0.01 * size)
    .sort((a, b) => sign * (b.aside - a.aside))
    .map((k) => name(k) + " (" + newton(Math.abs(k.aside)) + ")"));
  if (most > ASIDE * size && pushers(1) && pushers(-1)) {
    out.push(t("pushing", { one: pushers(1), right, other: pushers(-1), left }));
  }
  return out.join(" ");
}

/* What friction alone would have to be, where nothing else is in place: by limit analysis. */
function frictionWords(now) {
  const { need } = now.problem;
  if (need === undefined || !now.scene.rubs) return "";
  if (need === null) return t("need.none", { most: now.problem.most_friction });
  return t(now.held ? "need.held" : "need.more",
    { need: fixed(need, 2), has: fixed(now.wanted.friction, 2) });
}

const goesWords = (now) => now.goes.map(([key, name]) => t("goes." + key, { name: named(name) }))
  .join(t("and"));

function outcome(now) {
  const { fragments } = now.layout, load = newton(now.load);
  const name = fragments.length > 1 ? t("fragment.named", { name: named(fragments[now.fragment]) }) : t("fragment.only");
  if (now.verdict === "not known") return t("outcome.unknown", { load });
  if (!now.held) {
    const why = now.goes.length ? ": " + goesWords(now) : "";
    const limit = now.end > 1 ? t("outcome.peak", { peak: about(now.end) }) : "";
    return [t("outcome.fails", { load, why }), limit, frictionWords(now)].filter(Boolean).join(" ");
  }
  const { state, layout } = now, sunk = state[layout.sunk[now.fragment]];
  const limit = limitWords(now);
  const out = [t(sunk >= 0 ? "moved.sinks" : "moved.rises", { name,
    moved: mm(now.moves[now.fragment]), sunk: mm(Math.abs(sunk)) })];
  const edges = layout.edge.map((e) => [state[e], state[e + 1]]);
  if (edges.length) {
    out.push(t("moved.step", { step: mm(Math.max(...edges.map((e) => Math.abs(e[0])))) }));
    const gap = Math.max(...edges.map((e) => e[1]));
    if (gap > 0.005) out.push(t("moved.gap", { gap: mm(gap) }));
  }
  const turn = Math.abs(state[layout.rigid[now.fragment] + 2]) * 180 / Math.PI;
  if (turn >= 0.005) out.push(t("moved.tilt", { tilt: fixed(turn, 2) + "°" }));
  return [t(now.over ? "outcome.over" : "outcome.held", { load, limit, moved: out.join(", ") }), carriedWords(now), frictionWords(now)]
    .filter(Boolean).join(" ");
}

const limitWords = (now) => plain(now.scene.limit) + " mm";

/* Numbers that a lesson does not tell apart: within a share of the larger, or the last digit. */
const TIE = 0.05;
const isTie = (a, b, last = 0.005) => Math.abs(a - b) <= Math.max(last, TIE * Math.max(Math.abs(a), Math.abs(b)));

/* What was changed, and what that did, compared with the state before. */
function change(before, now, what) {
  if (!before || before.scene !== now.scene) return "";
  const then = compared(before, now);
  if (what.startsWith("part ") || what === "graft") {
    const name = what === "graft" ? t("the.graft") : t("the.part", { name: named(what.slice(5)) });
    const on = what === "graft" ? now.graft : !now.out.has(what.slice(5)), left = holders(now);
    return t(on ? "change.with" : left.length ? "change.without" : "change.bare",
      { name, left: listed(left), then });
  }
  if (what.startsWith("kind ")) {
    const name = what.slice(5);
    return t("change.kind", { name: named(name), kind: t("kind." + now.kinds[name]), then });
  }
  if (what === "load") return t("change.load", { was: newton(before.load), is: newton(now.load), then });
  if (what === "time") return t("change.time", { then });
  if (SLIDERS.includes(what)) {
    // Slope and plate are built in pairs: where one takes the other along, that is said.
    const also = ["slope", "position"].filter((a) => a !== what && before.label[a] !== now.label[a])
      .map((a) => t("change.also." + a, { is: now.label[a] })).join("");
    return t("change." + what, { was: before.label[what], is: now.label[what], also, then });
  }
  return what === "choice" ? t("change.choice", { name: named(now.choice), then }) : "";
}

function compared(before, now) {
  if (now.verdict === "not known") return t("then.unknown");
  if (before.held && !now.held) return t("then.lost");
  if (!before.held && now.held && !now.over) return t("then.held");
  if (now.over && !before.over) return t("then.over", { is: mm(now.largest), limit: limitWords(now) });
  if (!now.held) return t(before.fails ? "then.still" : "then.not");
  const a = before.largest, b = now.largest, off = Math.max(0.005, 0.02 * Math.max(a, b));
  if (Math.abs(a - b) < off) return t("then.same", { is: mm(b) });
  return t(b > a ? "then.more" : "then.less", { is: mm(b), was: mm(a) });
}

/* Whether every screw in place is of its usual kind. */
const plainly = (now) => now.scene.choices.find((c) => c.name === now.choice).parts
  .every((p) => !p.kinds || now.out.has(p.name) || now.kinds[p.name] === p.kinds[0]);

/* A construct in few words: its name, or what of it is in place, with the kinds of its screws. */
function described(now, other) {
  const choice = now.scene.choices.find((c) => c.name === now.choice), { parts } = choice;
  const kinds = [...new Set(parts.filter((p) => p.kinds && !now.out.has(p.name))
    .map((p) => t("kind." + now.kinds[p.name])))];
  const usual = plainly(now), told = !usual || (other && !plainly(other));
  const all = now.graft || !choice.has[2];
  const kind = kinds.length && told ? " (" + kinds.join(", ") + ")" : "";
  if (!now.out.size && usual && all) return choiceName(choice) + kind;
  const there = holders(now), bare = there.length > 1 && now.scene.rubs ? there.slice(1) : there;
  return upper(listed(bare) || t("nothing")) + kind;
}

/* Both constructs of a comparison in one sentence. */
function beside(a, b) {
  if (!a || !b) return "";
  if (a.verdict === "not known" || b.verdict === "not known") return t("beside.unknown");
  if (!a.held && !b.held) return t("beside.neither");
  if (a.held !== b.held) {
    const one = a.held ? a : b, side = a.held ? ".a" : ".b";
    return t((one.over ? "beside.over" : "beside.only") + side, { is: mm(one.largest), limit: limitWords(one) });
  }
  const more = Math.max(a.largest, b.largest), less = Math.min(a.largest, b.largest);
  if (isTie(more, less)) return t("beside.same", { a: mm(a.largest), b: mm(b.largest) });
  return t(a.largest < b.largest ? "beside.a" : "beside.b",
    { a: mm(a.largest), b: mm(b.largest) });
}

function direction(scene, [x, y]) {
  const eighth = ((Math.round(Math.atan2(y, x) * 4 / Math.PI) % 8) + 8) % 8;
  const [left, right] = scene.sides.map((s) => t("side." + s));
  const aside = [right, right, "", left, left, left, "", right][eighth];
  const way = ["", "up", "up", "up", "", "down", "down", "down"][eighth];
  if (!way) return aside;
  return aside ? t("way.and." + way, { side: aside }) : t("way." + way);
}
