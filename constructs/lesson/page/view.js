/* From the controls to what is shown: the question, its answer, and the picture with its words. */
const LISTED = ["slope", "position"], FREE = ["friction", "strength", "tension"];
const SLIDERS = [...LISTED, ...FREE];
const FINE = { friction: 0.01, strength: 0.01, tension: 0.01, load: 10 };
const WAIT_MS = 150;   // until a picture that is not yet there is shown as waiting
const $ = (id) => document.getElementById(id);
/* `sides`: the hardware, and what stands beside it or null; both under the same sliders. */
const lesson = { scene: 0, step: 0, sides: [null, null], shown: [null, null], before: null,
  moved: "", asked: 0, settled: Promise.resolve(), milliseconds: 0, predict: true, fragment: 0,
  chosen: new Map(), get now() { return this.shown[0]; } };
window.lesson = lesson;

const sceneNow = () => DATA.scenes[lesson.scene];
const choiceName = (c) => named(c.name) + (c.breaks ? " (!)" : "");   // as all lists of the toolkit
const choiceOf = (side) => sceneNow().choices[side.choice];
const whole = (choice) => ({ choice, out: new Set(), graft: true, kinds: {} });

function labels(wanted) {
  const share = (x) => percent(100 * x);
  return { slope: plain(wanted.slope) + "°", strength: share(wanted.strength),
    tension: share(wanted.tension), friction: fixed(wanted.friction, 2),
    position: Math.abs(wanted.position) < 0.05 ? "0 mm"
      : t(wanted.position > 0 ? "place.up" : "place.down", { by: plain(Math.abs(wanted.position)) }) };
}

/* The problems that belong to a construct with some parts out: without any hardware those of the
   bare fracture, which is there at more slopes. */
function familyOf(scene, choice, out, graft) {
  const bare = scene.bare !== null && !(choice.has[2] && graft) &&
    choice.parts.every((p) => out.has(p.name));
  const number = bare ? scene.bare : choice.families[graft || !choice.has[2] ? 1 : 0];
  return number === null ? [] : scene.families[number];
}

/* The problem nearest to a wanted slope and place of the plate; what was `moved` last counts most. */
function nearest(family, wanted, moved) {
  const far = (p) => Math.abs(p.place[0] - wanted.slope) * (moved === "slope" ? 1e3 : 1) +
    Math.abs(p.place[1] - wanted.position) * (moved === "position" ? 1e3 : 1);
  return family.reduce((a, b) => (a === null || far(b) < far(a) ? b : a), null);
}

const listOf = (family, axis) => [...new Set(family.map((p) => p.place[axis]))].sort((a, b) => a - b);

/* Whether a plate is in place: without one its place means nothing. */
const plateIn = (choice, out) => choice.parts.some((p) => p.group === 1 && p.plate === undefined && !out.has(p.name));

const hasPlate = (side) => plateIn(choiceOf(side), side.out);

/* The side whose built places a slider follows: the first one, for a plate the first that has one. */
const led = (a) => (a === "position" && lesson.sides.find((s) => s && hasPlate(s))) || lesson.sides[0];
const placesOf = (side, axis) => listOf(familyOf(sceneNow(), choiceOf(side), side.out, side.graft), axis);

/* The problem of a side at a wanted point, null where none fits. */
function problemOf(scene, side, wanted, moved) {
  const choice = scene.choices[side.choice];
  const at = plateIn(choice, side.out) ? wanted : { ...wanted, position: scene.base.position };
  return nearest(familyOf(scene, choice, side.out, side.graft), at, moved);
}

/* Of which kind each screw is where that may be chosen: a problem without that choice has the usual
   one; what was chosen is kept for the way back. */
const kindsIn = (problem, kinds) => Object.fromEntries(Object.entries(kinds)
  .filter(([name]) => problem.parts.some((p) => p.name === name && p.kinds)));

/* What is asked of the solver: {scene, choice, problem, controls}; null where nothing fits. */
function question(scene, side, wanted, load, moved = "") {
  const choice = scene.choices[side.choice], problem = problemOf(scene, side, wanted, moved);
  return problem && { scene, choice, problem, id: problem.id, controls: { out: new Set(side.out),
    graft: side.graft, kinds: kindsIn(problem, side.kinds), kept: { ...side.kinds }, wanted: { ...wanted }, load } };
}

/* A question and its answer, as all that is drawn and said of it. */
function stateShown({ scene, choice, problem, controls }, answer) {
  const { layout, geometry } = problem, { out, graft, wanted, load } = controls;
  const edges = answer.held ? layout.edge.flatMap((e) => [Math.abs(answer.state[e]), answer.state[e + 1]]) : [];
  const kindOf = (name) => (choice.parts.find((p) => p.name === name) || {}).kinds;
  const kinds = Object.fromEntries(choice.parts.filter((p) => p.kinds)
    .map((p) => [p.name, controls.kinds[p.name] || p.kinds[0]]));
  const there = (p) => !out.has(p.name) && (!p.variant || !kindOf(p.name) || p.variant === kinds[p.name]);
  const put = choice.parts.filter((p) => !out.has(p.name));
  const now = { ...answer, scene, choice: choice.name, out, kinds, problem, layout, load, wanted, graft,
    over: answer.held && Math.max(answer.largest, ...edges) > scene.limit,
    usual: choice.parts.filter((p) => p.kinds && !out.has(p.name) && controls.kept[p.name] &&
      controls.kept[p.name] !== kinds[p.name]).map((p) => p.name),
    label: labels(wanted), fragment: Math.min(lesson.fragment, layout.fragments.length - 1),
    fails: !answer.held && answer.verdict !== "not known", amplitude: 7,
    asked: Number($("magnify").value),
    parts: { screws: put.filter((p) => p.group === 0).reduce((s, p) => s + p.count, 0),
      plates: put.filter((p) => p.group === 1 && p.plate === undefined).map((p) => p.name),
      grafts: choice.has[2] && graft ? 1 : 0 },
    geometry: { rings: geometry.rings, near: geometry.near, members: layout.members
      .map((m, i) => ({ ...m, points: geometry.members[i], screw: problem.screws[i] })).filter(there) } };
  now.magnified = now.held ? Math.min(now.asked, 16 / Math.max(now.largest, 1e-9)) : 0;
  const rings = geometry.rings.filter((r) => r.kind !== "shaft").flatMap((r) => r.points);
  now.low = Math.max(Math.min(...geometry.rings.flatMap((r) => r.points.map((p) => p[1]))),
    Math.min(-62, ...rings.map((p) => p[1] - 12),
      ...now.geometry.members.flatMap((m) => m.points.map((p) => p[1] - 6))));
  return now;
}

/* Sliders as they stand: of slope and place those that were built, of the others all. */
function fit() {
  const scene = sceneNow(), { wanted, sides: [side] } = lesson;
  const problem = problemOf(scene, side, wanted, lesson.moved), plate = hasPlate(led("position"));
  if (!problem) return;
  LISTED.forEach((a, i) => {
    const list = placesOf(led(a), i), input = $(a), idle = a === "position" && !plate;
    if (!idle) wanted[a] = problemOf(scene, led(a), wanted, lesson.moved).place[i];
    input.disabled = idle || list.length < 2;
    input.min = 0;
    input.max = list.length - 1;
    input.step = 1;
    input.value = list.indexOf(wanted[a]);
  });
  const open = { friction: scene.rubs, strength: true, tension: problem.tighten.length > 0 };
  for (const a of FREE) {
    const input = $(a);
    [input.min, input.max] = scene.free[a];
    input.step = FINE[a];
    input.disabled = problem.staged || !open[a];
    input.value = wanted[a];
  }
  const label = labels(wanted);
  for (const a of SLIDERS) {
    $(a + "-value").textContent = a === "position" && !plate ? t("no.plate") : $(a).disabled ? t("fixed") : label[a];
    $(a).setAttribute("aria-valuetext", label[a]);
  }
  $("load-value").textContent = newton(Number($("load").value));
  lesson.sides.forEach((s, k) => s && fitParts(s, k));
  fitTime();
}

/* Solves what the controls say and shows it; a newer question takes the place of an older one. */
function show(what) {
  const number = lesson.asked += 1, start = performance.now();
  fit();
  const load = Number($("load").value);
  const asks = lesson.sides.map((s) => s && question(sceneNow(), s, lesson.wanted, load, lesson.moved));
  const wait = setTimeout(() => $("pictures").classList.add("waiting"), WAIT_MS);
  lesson.settled = (async () => {
    const answers = await Promise.all(asks.map((q, k) => q && solver.ask(q, k)));
    clearTimeout(wait);
    if (number !== lesson.asked) return;
    $("pictures").classList.remove("waiting");
    lesson.shown = asks.map((q, k) => q && answers[k] && stateShown(q, answers[k]));
    present(what);
    lesson.milliseconds = performance.now() - start;
  })();
  return lesson.settled;
}

/* The shown states again, as words and pictures. */
function present(what) {
  lesson.changed = what;
  const [now, other] = lesson.shown, two = lesson.sides[1] !== null;
  $("pictures").classList.toggle("two", two);
  veil();
  if (two && now && other) now.low = other.low = Math.min(now.low, other.low);
  if (two && now && other) now.extra = other.extra = Math.max(legendOf(now).extra, legendOf(other).extra);
  if (two && now && other) now.magnified = other.magnified = Math.min(now.magnified || Infinity,
    other.magnified || Infinity);
  for (const n of [now, other]) if (n && (!n.held || !isFinite(n.magnified))) n.magnified = 0;
  const changed = what && now ? change(lesson.before, now, what) : "";
  $("changed").textContent = tied(two ? beside(now, other) : changed);
  tell(now, "section", "outcome", "picture-note");
  if (two) tell(other, "section-b", "outcome-b", "picture-note-b");
  else $("outcome-b").textContent = "";
  $("sentence").classList.toggle("bad", !!(now && (now.fails || now.over)) && !two);
  $("meaning").hidden = two || !(now && now.held);
  const forces = now ? forcesOn(now) : [];
  if (now) {
    paint(now, forces);
    legend(now, forces);
    $("free").setAttribute("aria-label", t("name.free") + " " + forces.map((f) =>
      named(f.name) + " " + newton(f.size)).join(", "));
    $("polygon").setAttribute("aria-label",
      t(now.held ? "name.closes" : now.fails ? "name.open" : "name.unknown"));
  } else ["free", "polygon", "forces"].forEach((id) => $(id).replaceChildren());
  away();
  fitText();
}

const scaleWords = (times) => fixed(times, times < 9.95 ? 1 : 0);

/* One side: its picture, what is said of it, and the line below. */
function tell(now, picture, words, note) {
  const two = lesson.sides[1] !== null;
  if (!now) {
    $(picture).replaceChildren();
    $(words).textContent = t("no.place");
    $(note).textContent = "";
    return;
  }
  const hidden = pending();
  drawSection($(picture), hidden ? unloaded(now) : now);
  const sentence = hidden ? "" : outcome(now), seen = t("view." + now.scene.view.seen);
  $(words).textContent = tied(sentence);
  const [slope, position] = now.problem.place, there = Math.abs(slope - lesson.wanted.slope) < 1e-6 &&
    (!now.parts.plates.length || Math.abs(position - lesson.wanted.position) < 1e-6);
  const title = two ? described(now, lesson.shown[picture === "section" ? 1 : 0]) + (there ? "" : " (" + t("elsewhere",
    { slope: plain(slope) + "°", place: labels({ ...now.wanted, position }).position }) + ")") + ". " : "";
  $(note).textContent = title + upper(seen) + ". " + (hidden ? t("note.before") : now.held
    ? t(now.magnified < now.asked - 0.01 ? "note.held.less" : "note.held",
      { times: scaleWords(now.magnified) })
    : t(now.fails && now.motions.some((m) => m.some((x) => x)) ? "note.fails" : "note.before")) +
    (now.usual.length && !hidden ? ". " + t("note.usual", { names: listed(now.usual.map(named)),
      kinds: listed([...new Set(now.usual.map((n) => t("kind." + now.kinds[n])))]),
      slope: plain(now.scene.base.slope) + "°" }) : "");
  $(picture).setAttribute("aria-label", t("name.section", { seen,
    holders: listed(holders(now)) || t("nothing") }) + " " + sentence);
}

/* A state as before loading, which gives no answer away. */
const unloaded = (now) => ({ ...now, held: true, fails: false, magnified: 0,
  motions: now.motions.map(() => [0, 0, 0]), state: now.state || new Float64Array(1e4) });

function paint(now, forces) {
  if (lesson.sides[1] || pending()) return;
  drawFree($("free"), now, forces);
  now.left = drawPolygon($("polygon"), now, forces);
}

function legend(now, forces) {
  const rows = forces.map((f) => {
    const row = document.createElement("tr");
    const cells = [String(f.number), named(f.name), newton(f.size), direction(now.scene, f.force)];
    cells.forEach((text, i) => {
      const cell = document.createElement("td");
      cell.textContent = text;
      if (i === 0) cell.className = "n " + f.kind;
      row.appendChild(cell);
    });
    return row;
  });
  $("forces").replaceChildren(...rows);
  $("forces").parentElement.hidden = !now.held;
  $("closes").textContent = !now.held ? "" : now.left < 0.01 * now.load ? t("closes")
    : t("closes.nearly", { left: newton(now.left || 0) });
}

/* Whether the controls have left the step of the tour whose text is shown. */
function away() {
  const s = DATA.steps[lesson.step], near = (a, b) => Math.abs(a - b) < 1e-6;
  const same = (side, at) => (!side || !at ? !side && !at : side.choice === at.choice &&
    side.graft === at.graft && at.out.length === side.out.size && at.out.every((n) => side.out.has(n)) &&
    choiceOf(side).parts.every((p) => !p.kinds || (side.kinds[p.name] || p.kinds[0]) ===
      (at.kinds[p.name] || p.kinds[0])));
  const left = !!s && s.scene !== undefined && !(s.scene === lesson.scene &&
    same(lesson.sides[0], s.sides[0]) && same(lesson.sides[1], s.sides[1] || null) &&
    near(Number($("load").value), s.load) &&
    SLIDERS.every((a) => $(a).disabled || near(lesson.wanted[a], s.point[a])));
  $("step-text").classList.toggle("away", left);
  $("again").classList.toggle("unseen", !left);
}
