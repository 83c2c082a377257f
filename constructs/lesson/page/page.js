/* Controls, tour, and the one function that shows a state. */
const DATA = JSON.parse(document.getElementById("data").textContent);
const LISTED = ["slope", "position"], FREE = ["friction", "strength", "tension"];
const SLIDERS = [...LISTED, ...FREE];
const FINE = { friction: 0.01, strength: 0.01, tension: 0.01, load: 10 };
const $ = (id) => document.getElementById(id);
const lesson = { scene: 0, choice: 0, step: 0, before: null, now: null, milliseconds: 0,
  out: new Set(), graft: true, moved: "" };
window.lesson = lesson;

function labels(wanted) {
  const share = (x) => Math.round(100 * x) + " %", plain = (x) => x.toFixed(1).replace(/\.0$/, "");
  return { slope: plain(wanted.slope) + "°", strength: share(wanted.strength),
    tension: share(wanted.tension), friction: wanted.friction.toFixed(2),
    position: Math.abs(wanted.position) < 0.05 ? "0 mm"
      : plain(Math.abs(wanted.position)) + " mm " + (wanted.position > 0 ? "up" : "down") };
}

const chosenNow = () => DATA.scenes[lesson.scene].choices[lesson.choice];

/* The state of the controls, solved. */
function current() {
  const scene = DATA.scenes[lesson.scene];
  const now = stateOf(scene, chosenNow(), { ...lesson, out: new Set(lesson.out),
    wanted: { ...lesson.wanted }, load: Number($("load").value) });
  if (!now) return null;
  now.label = labels(now.wanted);
  now.fragment = Math.min(lesson.fragment || 0, now.layout.fragments.length - 1);
  now.fails = !now.held && now.verdict !== "not known";
  now.amplitude = 7;
  now.asked = Number($("magnify").value);
  now.magnified = now.held ? Math.min(now.asked, 16 / Math.max(now.largest, 1e-9)) : 0;
  now.low = Math.max(Math.min(...now.geometry.rings.flatMap((r) => r.points.map((p) => p[1]))),
    Math.min(-62, ...now.geometry.rings.filter((r) => r.kind !== "shaft")
      .flatMap((r) => r.points.map((p) => p[1] - 12)), ...now.geometry.members
      .flatMap((m) => m.points.map((p) => p[1] - 6))));
  return now;
}

/* Sliders as they stand: of slope and place those that were built, of the others all. */
function fit() {
  const scene = DATA.scenes[lesson.scene], { wanted } = lesson;
  const family = familyOf(scene, chosenNow(), lesson.out, lesson.graft);
  const problem = nearest(family, wanted, lesson.moved);
  if (!problem) return;
  LISTED.forEach((a, i) => {
    const list = listOf(family, i), input = $(a);
    wanted[a] = problem.place[i];
    input.disabled = list.length < 2;
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
  document.querySelectorAll("#parts input").forEach((box) => {
    box.checked = box.value === "graft" ? lesson.graft : !lesson.out.has(box.dataset.part);
    box.disabled = problem.staged;
  });
}

function show(what) {
  const start = performance.now();
  fit();
  const now = current();
  if (!now) {
    $("changed").textContent = "";
    $("outcome").textContent = "This hardware does not fit on the bone here.";
    ["section", "free", "polygon", "forces"].forEach((id) => $(id).replaceChildren());
    lesson.now = null;
    return;
  }
  for (const a of SLIDERS) {
    $(a + "-value").textContent = $(a).disabled ? "fixed" : now.label[a];
    $(a).setAttribute("aria-valuetext", now.label[a]);
  }
  $("load-value").textContent = newton(now.load);
  const forces = forcesOn(now);
  draw(now, forces);
  legend(now, forces);
  const sentence = outcome(now), changed = what ? change(lesson.before, now, what) : "";
  const tied = (text) => text.replace(/(\d) (?=mm|N\b|%)/g, "$1\u00a0");
  $("changed").textContent = tied(changed);
  $("outcome").textContent = tied(sentence);
  $("sentence").classList.toggle("bad", now.fails);
  const { words } = now.scene.view, seen = words[0].toUpperCase() + words.slice(1) + ". ";
  $("picture-note").textContent = seen + (now.held
    ? "Movement × " + now.magnified.toFixed(now.magnified < 9.95 ? 1 : 0) +
      (now.magnified < now.asked - 0.01 ? " (less than asked, to stay in the picture)" : "") +
      "; dashed: before loading"
    : now.fails && now.motions.some((m) => m.some((x) => x))
      ? "How the fragment fails: a direction, not an amount" : "Drawn as before loading");
  $("meaning").hidden = !now.held;
  away();
  $("section").setAttribute("aria-label", "Section of a " + words + ", with " +
    (listed(holders(now)) || "nothing") + " holding the fragment. " + sentence);
  $("free").setAttribute("aria-label", "Free body of the fragment. " + forces.map((f) =>
    f.name + " " + newton(f.size)).join(", "));
  $("polygon").setAttribute("aria-label", now.held ? "Force polygon; it closes."
    : now.fails ? "No force polygon closes." : "Force polygon not known.");
  lesson.now = now;
  lesson.milliseconds = performance.now() - start;
}

function draw(now, forces) {
  drawSection($("section"), now);
  drawFree($("free"), now, forces);
  now.left = drawPolygon($("polygon"), now, forces);
}

function legend(now, forces) {
  const rows = forces.map((f) => {
    const row = document.createElement("tr");
    const cells = [String(f.number), f.name, newton(f.size), direction(f.force)];
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
  $("closes").textContent = !now.held ? "" : now.left < 0.01 * now.load ? "They close."
    : "They close to within " + newton(now.left) + ": forces below 1 % of the load are left out.";
}

/* Whether the controls have left the step of the tour whose text is shown. */
function away() {
  const s = DATA.steps[lesson.step], near = (a, b) => Math.abs(a - b) < 1e-6;
  const left = s.scene !== undefined && !(s.scene === lesson.scene && s.choice === lesson.choice &&
    near(Number($("load").value), s.load) && s.graft === lesson.graft &&
    s.out.length === lesson.out.size && s.out.every((name) => lesson.out.has(name)) &&
    SLIDERS.every((a) => $(a).disabled || near(lesson.wanted[a], s.point[a])));
  $("step-text").classList.toggle("away", left);
  $("again").classList.toggle("unseen", !left);
}

function direction([x, y]) {
  const a = Math.atan2(y, x) * 180 / Math.PI;
  const [left, right] = DATA.scenes[lesson.scene].sides;
  const names = [right, right + " and up", "up", left + " and up", left, left + " and down",
    "down", right + " and down"];
  return names[((Math.round(a / 45) % 8) + 8) % 8];
}

/* -- controls ----------------------------------------------------------------------------- */
let timer = 0;
function announce() {
  clearTimeout(timer);
  timer = setTimeout(() => {
    $("spoken").textContent = $("changed").textContent + " " + $("outcome").textContent;
  }, 250);
}

function changedBy(what) {
  clearTimeout(lesson.ahead);
  show(what);
  announce();
}

/* One part in or out: a plate goes with its screws, and none stays without any. */
function put(name, there) {
  const { parts } = chosenNow(), own = parts.find((p) => p.name === name);
  const mates = parts.filter((p) => p.plate === (own.plate || name));
  const set = (part, on) => (on ? lesson.out.delete(part) : lesson.out.add(part));
  set(name, there);
  if (own.plate === undefined) mates.forEach((p) => set(p.name, there));
  else if (own.plate && there) set(own.plate, true);
  else if (own.plate && mates.every((p) => lesson.out.has(p.name))) set(own.plate, false);
}

function listen() {
  for (const a of [...SLIDERS, "load"]) {
    $(a).addEventListener("input", () => {
      const value = Number($(a).value);
      if (LISTED.includes(a)) {
        const scene = DATA.scenes[lesson.scene];
        lesson.wanted[a] = listOf(familyOf(scene, chosenNow(), lesson.out, lesson.graft),
          LISTED.indexOf(a))[value];
        lesson.moved = a;
      } else if (a !== "load") lesson.wanted[a] = value;
      changedBy(a);
    });
    for (const e of ["change", "focus", "pointerdown"]) {
      $(a).addEventListener(e, () => { lesson.before = lesson.now; });
    }
  }
  $("parts").addEventListener("change", (e) => {
    lesson.before = lesson.now;
    if (e.target.value === "graft") lesson.graft = e.target.checked;
    else put(e.target.dataset.part, e.target.checked);
    changedBy(e.target.value === "graft" ? "graft" : "part " + e.target.dataset.part);
  });
  $("choice").addEventListener("change", () => {
    lesson.before = lesson.now;
    lesson.choice = Number($("choice").value);
    lesson.out = new Set();
    lesson.graft = true;
    note();
    changedBy("choice");
  });
  // The text of a step belongs to its fracture, so another fracture is another step.
  $("scene").addEventListener("change", () => {
    const number = Number($("scene").value), first = DATA.steps.findIndex((s) => s.scene === number);
    if (first >= 0) { go(first); return; }
    enter(number);
    changedBy("");
  });
  $("magnify").addEventListener("change", () => changedBy(""));
  $("fragment").addEventListener("change", () => {
    lesson.fragment = Number($("fragment").value);
    changedBy("");
  });
  $("back").addEventListener("click", () => go(lesson.step - 1));
  $("next").addEventListener("click", () => go(lesson.step + 1));
  $("steps").addEventListener("change", () => go(Number($("steps").value)));
  $("again").addEventListener("click", () => { go(lesson.step); $("next").focus(); });
  $("print").addEventListener("click", () => window.print());
  window.addEventListener("resize", () => {
    if (lesson.now) draw(lesson.now, forcesOn(lesson.now));
  });
  // Remote controls of lecture halls send the two page keys; arrows belong to a slider or a menu
  // where one is in hand, and to the tour elsewhere.
  document.addEventListener("keydown", (e) => {
    if (e.altKey || e.ctrlKey || e.metaKey || e.shiftKey) return;
    const free = e.target.type !== "range" && e.target.tagName !== "SELECT";
    const by = { PageDown: 1, PageUp: -1, ArrowRight: free ? 1 : 0, ArrowLeft: free ? -1 : 0 }[e.key];
    if (!by) return;
    e.preventDefault();
    go(lesson.step + by);
  });
}

function options(select, names) {
  select.replaceChildren(...names.map((n, i) => {
    const o = document.createElement("option");
    o.value = i;
    o.textContent = n;
    return o;
  }));
}

/* The note of a construct, and a box for each of its parts. */
function note() {
  const { note: text, parts, has } = chosenNow();
  $("note").textContent = text ? "With all in place: " + text : "";
  const box = (value, name, words) => {
    const label = document.createElement("label"), input = document.createElement("input");
    Object.assign(input, { type: "checkbox", value });
    input.dataset.part = name;
    label.append(input, " " + words);
    return label;
  };
  $("parts").replaceChildren(...parts.map((p) => box("part", p.name, p.name)),
    ...(has[2] ? [box("graft", "", "graft")] : []));
}

function enter(number) {
  const scene = DATA.scenes[number], first = scene.families.flat()[0];
  Object.assign(lesson, { scene: number, choice: 0, fragment: 0, before: null, moved: "",
    wanted: { ...scene.base }, out: new Set(), graft: true });
  $("scene").value = number;
  options($("choice"), scene.choices.map((c) => c.name));
  options($("fragment"), first.layout.fragments);
  $("fragment-row").hidden = first.layout.fragments.length < 2;
  $("load").min = scene.load[0];
  $("load").max = scene.load[1];
  $("load").step = FINE.load;
  $("load").value = scene.load_base;
  note();
}

/* The next step is solved while this one is read, so that it is shown at once. */
function solveAhead() {
  clearTimeout(lesson.ahead);
  const s = DATA.steps[lesson.step + 1];
  if (!s || s.scene === undefined) return;
  const scene = DATA.scenes[s.scene];
  lesson.ahead = setTimeout(() => stateOf(scene, scene.choices[s.choice], { out: new Set(s.out),
    graft: s.graft, wanted: s.point, moved: "", load: s.load }), 400);
}

/* A step of the tour puts the controls where its text needs them. */
function go(step) {
  lesson.step = Math.min(Math.max(step, 0), DATA.steps.length - 1);
  const s = DATA.steps[lesson.step];
  if (s.scene !== undefined) {
    enter(s.scene);
    lesson.choice = s.choice;
    $("choice").value = s.choice;
    note();
    lesson.out = new Set(s.out);
    lesson.graft = s.graft;
    lesson.wanted = { ...s.point };
    $("load").value = s.load;
  }
  $("step-title").textContent = (lesson.step + 1) + " of " + DATA.steps.length + ": " + s.title;
  $("step-text").replaceChildren(...s.text.map((t) => {
    const p = document.createElement("p");
    p.textContent = t;
    return p;
  }));
  $("steps").value = lesson.step;
  $("back").disabled = lesson.step === 0;
  $("next").disabled = lesson.step === DATA.steps.length - 1;
  show("");
  lesson.before = lesson.now;
  clearTimeout(timer);
  $("spoken").textContent = $("step-title").textContent + ". " + s.text.join(" ") + " " +
    $("outcome").textContent;
  solveAhead();
}

/* All problems are unpacked first: a moment, once. */
async function begin() {
  for (const scene of DATA.scenes) {
    scene.families = await Promise.all(scene.families.map((f) => Promise.all(f.map(opened))));
  }
  options($("scene"), DATA.scenes.map((s) => s.title));
  $("scene-row").hidden = DATA.scenes.length < 2;
  options($("steps"), DATA.steps.map((s, i) => (i + 1) + ". " + s.title));
  listen();
  go(0);

}

lesson.begun = begin();
