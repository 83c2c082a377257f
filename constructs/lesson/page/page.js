/* Controls and tour. */
const solver = new Solver(DATA.scenes);

/* -- controls ----------------------------------------------------------------------------- */
let timer = 0;
function announce() {
  clearTimeout(timer);
  timer = setTimeout(() => {
    $("spoken").textContent = pending() ? $("question-text").textContent
      : ["changed", "outcome", "outcome-b"].map((id) => $(id).textContent).join(" ");
  }, 250);
}

/* A control that is moved before the answer was guessed shows the answer. */
function changedBy(what) {
  clearTimeout(lesson.ahead);
  if (pending()) { lesson.chosen.set(lesson.step, { option: null, right: null }); writeStep(); }
  return show(what).then(announce);
}

/* One part in or out: a plate goes with its screws, and none stays without any. */
function put(side, name, there) {
  const { parts } = choiceOf(side), part = parts.find((p) => p.name === name);
  const mates = parts.filter((p) => p.plate === (part.plate || name));
  const set = (who, on) => (on ? side.out.delete(who) : side.out.add(who));
  set(name, there);
  if (part.plate === undefined) mates.forEach((p) => set(p.name, there));
  else if (part.plate && there) set(part.plate, true);
  else if (part.plate && mates.every((p) => side.out.has(p.name))) set(part.plate, false);
}

const partsOf = (k) => $(k ? "parts-b" : "parts");

/* A box for each part of a side, and what kind of screw it is where there is a choice. */
function writeParts(k) {
  const side = lesson.sides[k], { parts, has: [, , graft] } = choiceOf(side);
  const box = (value, name, words) => {
    const label = document.createElement("label"), input = document.createElement("input");
    Object.assign(input, { type: "checkbox", value });
    input.dataset.part = name;
    label.append(input, " " + words);
    return label;
  };
  const kind = (p) => {
    const button = document.createElement("button");
    Object.assign(button, { type: "button", className: "kind" });
    button.dataset.kind = p.name;
    return button;
  };
  partsOf(k).replaceChildren(...parts.map((p) => {
    const item = document.createElement("span");
    item.append(box("part", p.name, named(p.name)), ...(p.kinds ? [kind(p)] : []));
    return item;
  }), ...(graft ? [box("graft", "", t("graft"))] : []));
}

function fitParts(side, k) {
  const choice = choiceOf(side), problem = problemOf(sceneNow(), side, lesson.wanted, lesson.moved);
  partsOf(k).querySelectorAll("input").forEach((box) => {
    box.checked = box.value === "graft" ? side.graft : !side.out.has(box.dataset.part);
    box.disabled = !!problem && problem.staged;
  });
  partsOf(k).querySelectorAll("button").forEach((button) => {
    const name = button.dataset.kind, part = choice.parts.find((p) => p.name === name);
    const here = !!problem && problem.parts.some((p) => p.name === name && p.kinds);
    const now = (here && side.kinds[name]) || part.kinds[0];
    button.textContent = t("kind." + now);
    button.disabled = !here || side.out.has(name);
    button.title = t("name.kind", { name: named(name), kind: t("kind." + now) });
    button.setAttribute("aria-label", button.title);
  });
}

function choose(k, number) {
  lesson.sides[k] = number === null ? null : whole(number);
  if (lesson.sides[k]) writeParts(k);
  $("beside-parts").hidden = lesson.sides[1] === null;
}

/* What time does to friction and tension, as factors on the study's own. */
function fitTime() {
  const { wanted } = lesson, { base, times } = sceneNow(), near = (a, b) => Math.abs(a - b) < 0.006;
  const at = times.findIndex((x) => near(wanted.friction, base.friction * x.friction) &&
    near(wanted.tension, x.tension));
  $("time").value = at < 0 ? "" : String(at);
  $("time-row").hidden = !times.length;
}

function enter(number) {
  const scene = DATA.scenes[number];
  Object.assign(lesson, { scene: number, fragment: 0, before: null, moved: "", wanted: { ...scene.base } });
  for (const [name, key] of [["min", 0], ["max", 1]]) $("load")[name] = scene.load[key];
  $("load").step = FINE.load;
  $("load").value = scene.load_base;
  writeMenus();
  choose(0, 0);
  choose(1, null);
}

/* Puts the controls where a step, or anything else, wants them. */
function place({ scene, sides, point, load }) {
  enter(scene);
  [0, 1].forEach((k) => {
    const at = sides[k];
    choose(k, at ? at.choice : null);
    if (at) Object.assign(lesson.sides[k], { out: new Set(at.out), graft: at.graft, kinds: { ...at.kinds } });
  });
  lesson.wanted = { ...point };
  $("load").value = load;
  $("choice").value = lesson.sides[0].choice;
  $("beside").value = lesson.sides[1] ? lesson.sides[1].choice : "";
}

function options(select, names, none) {
  const option = (value, text) => {
    const o = document.createElement("option");
    o.value = value;
    o.textContent = text;
    return o;
  };
  const kept = select.value;
  select.replaceChildren(...(none === undefined ? [] : [option("", none)]), ...names.map((n, i) => option(i, n)));
  if ([...select.options].some((o) => o.value === kept)) select.value = kept;
}

/* The menus in the chosen language, with what they stand at. */
function writeMenus() {
  const scene = sceneNow(), names = scene.choices.map(choiceName);
  options($("scene"), DATA.scenes.map((s) => named(s.title)));
  $("scene").value = lesson.scene;
  $("scene-row").hidden = DATA.scenes.length < 2;
  options($("choice"), names);
  options($("beside"), names, t("beside.nothing"));
  options($("time"), scene.times.map((x) => t("time." + x.id)), t("time.other"));
  options($("steps"), [...DATA.steps.map((s, i) => (i + 1) + ". " + own(s.title)),
    ...(asked() ? [t("summary.title")] : [])]);
  $("steps").value = lesson.step;
  options($("fragment"), scene.families.flat()[0].layout.fragments.map(named));
  $("fragment-row").hidden = scene.families.flat()[0].layout.fragments.length < 2;
}

const TEXT_REM = [0.9, 0.86, 0.82, 0.78];
const asked = () => lesson.predict && DATA.steps.some((s) => s.asks);
const lastStep = () => DATA.steps.length - (asked() ? 0 : 1);

/* A step's text is as large as its room allows, and not smaller than can be read. */
function fitText() {
  const box = $("step-text");
  for (const size of TEXT_REM) {
    box.style.fontSize = size + "rem";
    if (box.scrollHeight <= box.clientHeight + 1) return;
  }
}

/* The words of a step: before its question is answered only what is put in place. */
function writeStep() {
  const s = DATA.steps[lesson.step], paragraph = (text) => {
    const p = document.createElement("p");
    p.textContent = text;
    return p;
  };
  document.body.classList.toggle("summing", !s);
  if (!s) {
    $("step-title").textContent = t("summary.title");
    $("step-text").replaceChildren(...summary());
    return;
  }
  $("step-title").textContent = t("step.of", { step: lesson.step + 1, all: DATA.steps.length, title: own(s.title) });
  $("step-text").replaceChildren(...(pending() ? [own(s.before)] : [...own(s.text), own(s.tries)].filter(Boolean)).map(paragraph));
  fitText();
}

/* A step of the tour puts the controls where its text needs them. */
function go(step) {
  lesson.step = Math.min(Math.max(step, 0), lastStep());
  const s = DATA.steps[lesson.step];
  if (s && s.scene !== undefined) place(s);
  writeStep();
  $("steps").value = lesson.step;
  $("back").disabled = lesson.step === 0;
  $("next").disabled = lesson.step === lastStep();
  clearTimeout(timer);
  return show("").then(() => {
    lesson.before = lesson.now;
    $("spoken").textContent = [$("step-title"), $("step-text"), pending() ? $("question-text")
      : $("outcome")].map((e) => e.textContent).join(" ");
    solveAhead();
  });
}

/* The next step is solved while this one is read, so that it is shown at once. */
function solveAhead() {
  clearTimeout(lesson.ahead);
  const s = DATA.steps[lesson.step + 1];
  if (!s || s.scene === undefined) return;
  lesson.ahead = setTimeout(() => s.sides.forEach((at, k) => {
    const q = at && question(DATA.scenes[s.scene], { ...at, out: new Set(at.out) }, s.point, s.load);
    if (q) solver.ask(q, k);
  }), 400);
}

/* Another language: the same page in its words. */
function speak(chosen) {
  language = chosen;
  sayAll();
  document.title = $("title").textContent = own(DATA.title);
  writeMenus();
  lesson.sides.forEach((s, k) => s && writeParts(k));
  $("choice").value = lesson.sides[0].choice;
  $("beside").value = lesson.sides[1] ? lesson.sides[1].choice : "";
  fit();
  writeStep();
  for (const now of lesson.shown) if (now) now.label = labels(now.wanted);
  present("");
}

function listen() {
  for (const a of [...SLIDERS, "load"]) {
    $(a).addEventListener("input", () => {
      const value = Number($(a).value);
      if (LISTED.includes(a)) {
        lesson.wanted[a] = placesOf(led(a), LISTED.indexOf(a))[value];
        lesson.moved = a;
      } else if (a !== "load") lesson.wanted[a] = value;
      changedBy(a);
    });
    for (const e of ["change", "focus", "pointerdown"]) {
      $(a).addEventListener(e, () => { lesson.before = lesson.now; });
    }
  }
  [0, 1].forEach((k) => {
    const changes = (what) => { if (k === 0) lesson.before = lesson.now; changedBy(what); };
    partsOf(k).addEventListener("change", (e) => {
      const graft = e.target.value === "graft", name = e.target.dataset.part;
      if (graft) lesson.sides[k].graft = e.target.checked;
      else put(lesson.sides[k], name, e.target.checked);
      changes(graft ? "graft" : "part " + name);
    });
    partsOf(k).addEventListener("click", (e) => {
      const name = e.target.dataset.kind, side = lesson.sides[k];
      if (!name) return;
      const { kinds } = choiceOf(side).parts.find((p) => p.name === name);
      const at = kinds.indexOf(side.kinds[name] || kinds[0]);
      side.kinds[name] = kinds[(at + 1) % kinds.length];
      changes("kind " + name);
    });
  });
  $("choice").addEventListener("change", () => {
    lesson.before = lesson.now;
    choose(0, Number($("choice").value));
    changedBy("choice");
  });
  $("beside").addEventListener("change", () => {
    choose(1, $("beside").value === "" ? null : Number($("beside").value));
    changedBy("");
  });
  $("time").addEventListener("change", () => {
    const x = sceneNow().times[Number($("time").value)];
    if ($("time").value === "" || !x) return;
    lesson.before = lesson.now;
    Object.assign(lesson.wanted, { friction: sceneNow().base.friction * x.friction, tension: x.tension });
    changedBy("time");
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
  $("language").addEventListener("change", () => speak($("language").value));
  $("predict").addEventListener("change", () => {
    lesson.predict = $("predict").checked;
    writeMenus();
    go(Math.min(lesson.step, lastStep()));
  });
  $("show").addEventListener("click", () => reveal(null));
  $("back").addEventListener("click", () => go(lesson.step - 1));
  $("next").addEventListener("click", () => go(lesson.step + 1));
  $("steps").addEventListener("change", () => go(Number($("steps").value)));
  $("again").addEventListener("click", () => { go(lesson.step); $("next").focus(); });
  $("handout").addEventListener("click", printHandout);
  $("png").addEventListener("click", savePng);
  $("svg").addEventListener("click", saveSvg);
  window.addEventListener("resize", () => { if (lesson.now) paint(lesson.now, forcesOn(lesson.now)); });
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

async function begin() {
  $("predict").checked = lesson.predict;
  listen();
  sayAll();
  return go(0);
}

lesson.begun = begin();
