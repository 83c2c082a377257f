/* Controls, tour, and the one function that shows a state. */
const DATA = JSON.parse(document.getElementById("data").textContent);
const AXIS = ["slope", "quality", "position", "friction"];
const STEP = { slope: 0.5, quality: 0.01, position: 0.5, friction: 0.01, load: 10 };
const $ = (id) => document.getElementById(id);
const lesson = { scene: 0, choice: 0, step: 0, before: null, now: null, milliseconds: 0 };
window.lesson = lesson;

DATA.scenes.forEach((s) => {
  s.friction = s.families.some((f) => f && f.axes[3].length > 1);
});

function labels(point) {
  return { slope: point[0].toFixed(1).replace(/\.0$/, "") + "°",
    quality: Math.round(100 * point[1] / DATA.scenes[lesson.scene].base[1]) + " %",
    position: Math.abs(point[2]) < 0.05 ? "0 mm"
      : Math.abs(point[2]).toFixed(1).replace(/\.0$/, "") + " mm " +
        (point[2] > 0 ? "up" : "down"),
    friction: point[3].toFixed(2) };
}

/* The state of the controls, read from the solved states. */
function current() {
  const scene = DATA.scenes[lesson.scene], choice = scene.choices[lesson.choice];
  const switches = { screws: $("screws").checked, plate: $("plate").checked,
    graft: $("graft").checked };
  const key = ["screws", "plate", "graft"].map((s, i) => (choice.has[i] && switches[s] ? 1 : 0))
    .join("");
  const number = choice.families[key], family = scene.families[number];
  const point = AXIS.map((a, i) => family.axes[i].length > 1 ? Number($(a).value)
    : family.axes[i][0]);
  const load = Number($("load").value), seen = readState(family, point, load);
  const now = { scene, choice: choice.name, switches, family, number, point, load,
    label: labels(point), fragment: Math.min(lesson.fragment || 0,
      family.layout.fragments.length - 1) };
  if (!seen) return { ...now, nothing: true };
  Object.assign(now, seen, { geometry: readGeometry(family, point),
    status: family.paths.status[seen.corner[0]], go: family.go[family.paths.go[seen.corner[0]]] });
  now.motions = family.layout.fragments.map((_, k) => now.held
    ? [0, 1, 2].map((i) => now.state[family.layout.rigid[k] + i])
    : family.paths.escape[seen.corner[0]].slice(3 * k, 3 * k + 3));
  now.moves = now.held ? largestMoves(now.geometry.rings, now.motions) : [];
  now.largest = now.held ? Math.max(...now.moves) : null;
  now.amplitude = 7;
  now.asked = Number($("magnify").value);
  now.magnified = now.held ? Math.min(now.asked, 16 / Math.max(now.largest, 1e-9)) : 0;
  now.low = Math.max(Math.min(...now.geometry.rings.flatMap((r) => r.points.map((p) => p[1]))),
    Math.min(-62, ...now.geometry.rings.filter((r) => r.kind !== "shaft")
      .flatMap((r) => r.points.map((p) => p[1] - 12)), ...now.geometry.members
      .flatMap((m) => m.points.map((p) => p[1] - 6))));
  return now;
}

/* Sliders of the family that is shown: its range, and whether it has one. */
function fit() {
  const scene = DATA.scenes[lesson.scene], choice = scene.choices[lesson.choice];
  // A part that this hardware has not shows neither a tick nor an empty box.
  ["screws", "plate", "graft"].forEach((s, i) => {
    $(s).disabled = $(s).indeterminate = !choice.has[i];
  });
  const key = ["screws", "plate", "graft"].map((s, i) =>
    (choice.has[i] && $(s).checked ? 1 : 0)).join("");
  const family = scene.families[choice.families[key]];
  if (!family) return false;
  AXIS.forEach((a, i) => {
    const nodes = family.axes[i], input = $(a), value = lesson.wanted[a];
    const open = nodes.length > 1;
    input.disabled = !open;
    input.min = nodes[0];
    input.max = nodes[nodes.length - 1];
    input.step = STEP[a] * (a === "quality" ? scene.base[1] : 1);
    input.value = open ? value : nodes[0];
  });
  return true;
}

function show(what) {
  const start = performance.now();
  const fits = fit(), now = fits ? current() : { nothing: true };
  if (now.nothing) {
    $("changed").textContent = $("between").textContent = "";
    $("outcome").textContent = "This hardware cannot be placed on the bone here: nothing was " +
      "solved.";
    ["section", "free", "polygon", "forces"].forEach((id) => $(id).replaceChildren());
    lesson.now = null;
    return;
  }
  for (const a of AXIS) {
    $(a + "-value").textContent = now.family.axes[AXIS.indexOf(a)].length > 1 ? now.label[a] : "fixed";
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
  $("sentence").classList.toggle("bad", !now.held);
  const { words } = now.scene.view, seen = words[0].toUpperCase() + words.slice(1) + ". ";
  $("picture-note").textContent = seen + (now.held
    ? "Movement × " + now.magnified.toFixed(now.magnified < 9.95 ? 1 : 0) +
      (now.magnified < now.asked - 0.01 ? " (less than asked, to stay in the picture)" : "") +
      "; dashed: before loading"
    : "How the fragment fails: a direction, not an amount");
  $("meaning").hidden = !now.held;
  away();
  $("between").textContent = now.mixed ? "Solved states around here differ in kind (one is held, " +
    "the next gives way or is not held): the nearest one is shown." : "";
  $("section").setAttribute("aria-label", "Section of a " + words + ", with " +
    (listed(holders(now)) || "nothing") + " holding the fragment. " + sentence);
  $("free").setAttribute("aria-label", "Free body of the fragment. " + forces.map((f) =>
    f.name + " " + newton(f.size)).join(", "));
  $("polygon").setAttribute("aria-label", now.held ? "Force polygon; it closes."
    : "No force polygon closes.");
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
    near(Number($("load").value), s.load) &&
    ["screws", "plate", "graft"].every((n, i) => $(n).disabled || $(n).checked === Boolean(s.on[i])) &&
    AXIS.every((a, i) => $(a).disabled || near(Number($(a).value), s.point[i])));
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
  show(what);
  announce();
}

function listen() {
  for (const a of [...AXIS, "load"]) {
    $(a).addEventListener("input", () => {
      if (a !== "load") lesson.wanted[a] = Number($(a).value);
      changedBy(a);
    });
    $(a).addEventListener("change", () => { lesson.before = lesson.now; });
    $(a).addEventListener("focus", () => { lesson.before = lesson.now; });
    $(a).addEventListener("pointerdown", () => { lesson.before = lesson.now; });
  }
  for (const s of ["screws", "plate", "graft"]) {
    $(s).addEventListener("change", () => { lesson.before = lesson.now; changedBy(s); });
  }
  $("choice").addEventListener("change", () => {
    lesson.before = lesson.now;
    lesson.choice = Number($("choice").value);
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

function note() {
  const { note: text, has } = DATA.scenes[lesson.scene].choices[lesson.choice];
  $("note").textContent = (text ? "With all in place: " + text : "") + (!has[1] ? ""
    : has[0] ? " The box “screws”: those outside the plate." : " Its screws go with the plate.");
}

function enter(number) {
  const scene = DATA.scenes[number];
  lesson.scene = number;
  lesson.choice = 0;
  lesson.fragment = 0;
  lesson.before = null;
  lesson.wanted = Object.fromEntries(AXIS.map((a, i) => [a, scene.base[i]]));
  $("scene").value = number;
  options($("choice"), scene.choices.map((c) => c.name));
  const first = scene.families.find((f) => f);
  const names = first ? first.layout.fragments : [];
  options($("fragment"), names);
  $("fragment-row").hidden = names.length < 2;
  // 100 % is another bone in another scene: the slider says which.
  document.querySelector("label[for=quality]").textContent = scene.bone
    ? scene.bone[0].toUpperCase() + scene.bone.slice(1) + " bone" : "Bone quality";
  $("load").min = scene.load[0];
  $("load").max = scene.load[1];
  $("load").step = STEP.load;
  $("load").value = scene.load_base;
  ["screws", "plate", "graft"].forEach((s) => { $(s).checked = true; });
  note();
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
    ["screws", "plate", "graft"].forEach((name, i) => { $(name).checked = Boolean(s.on[i]); });
    AXIS.forEach((a, i) => { lesson.wanted[a] = s.point[i]; });
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
}

options($("scene"), DATA.scenes.map((s) => s.title));
$("scene-row").hidden = DATA.scenes.length < 2;
options($("steps"), DATA.steps.map((s, i) => (i + 1) + ". " + s.title));
listen();
go(0);
