/* Predict, then reveal: what a step asks, what was answered until the end of the talk, the summary. */
const asksNow = () => (DATA.steps[lesson.step] || {}).asks;

/* Whether the answer of this step is still to be guessed. */
const pending = () => lesson.predict && !!asksNow() && !lesson.chosen.has(lesson.step);

/* Choices and the right ones of a step's question, read from the states that it shows: what is
   alike is all of it right, and the first is the model's. */
const QUESTIONS = {
  within: { options: () => ["within", "beyond", "fails"],
    right: ([now]) => {
      if (!now.held) return ["fails"];
      const told = now.largest <= now.scene.movement ? ["within", "beyond"] : ["beyond", "within"];
      return isTie(now.largest, now.scene.movement, 0) ? told : told.slice(0, 1);
    } },
  way: { options: () => ["low", "straight", "high", "none"],
    right: ([now]) => [wayOf(now)].filter(Boolean) },
  push: { options: () => ["low", "straight", "high", "none"],
    right: ([now]) => [pushOf(now)] },
  carries: { options: ([now]) => [...touching(now).filter((k) => has("source." + k)), "none"],
    right: ([now]) => {
      if (!now.held) return ["none"];
      const kinds = carriers(now).kinds.slice().sort((a, b) => b.share - a.share);
      return kinds.filter((k) => kinds[0].share - k.share <= TIE).map((k) => k.kind);
    } },
  which: { options: () => own(DATA.steps[lesson.step].which).slice().sort(),
    right: () => own(DATA.steps[lesson.step].which).slice(0, 1) },
  less: { options: () => ["a", "b", "same"],
    right: ([a, b]) => [!a.held && !b.held ? "same" : a.held !== b.held ? (a.held ? "a" : "b")
      : isTie(a.largest, b.largest, 0) ? "same" : a.largest < b.largest ? "a" : "b"] },
};

/* The kinds of sources that touch the fragment. */
function touching(now) {
  const at = now.layout.force[now.fragment];
  const pushes = (j) => !now.held || Math.hypot(now.state[at[j]], now.state[at[j] + 1]) > 1e-9 * now.load;
  return [...new Set(now.layout.sources.filter((s, j) => pushes(j)).map((s) => s.kind))].filter((k) => k !== "load");
}
const STILL_MM = 0.02, ASLANT = 0.2;

/* Which way the middle of the fragment goes: to the side at -x ("low") or +x ("high") and down,
   straight down, or hardly. */
function wayOf(now) {
  const ring = now.geometry.rings.filter((r) => r.kind === "fragment")[0].points;
  const c = [0, 1].map((a) => ring.reduce((s, p) => s + p[a], 0) / ring.length);
  const to = moved(now.motions[0], c, 1), x = to[0] - c[0], y = to[1] - c[1];
  if (Math.hypot(x, y) < (now.held ? STILL_MM : 1e-9)) return now.held ? "none" : null;
  return Math.abs(x) < ASLANT * Math.abs(y) ? "straight" : x < 0 ? "low" : "high";
}

/* Which way plates push the fragment besides up: as `wayOf`; none where they do not push. */
function pushOf(now) {
  const { size, kinds } = now.held ? carriers(now) : { kinds: [] }, plate = kinds.find((k) => k.kind === "plate");
  if (!plate || Math.hypot(plate.share * size, plate.aside) < 0.01 * now.load) return "none";
  return Math.abs(plate.aside) < ASLANT * plate.share * size ? "straight" : plate.aside < 0 ? "low" : "high";
}

function optionWords(asks, option) {
  const [low, high] = sceneNow().sides.map((s) => t("side." + s));
  const names = lesson.shown.map((now, k) => (now ? described(now, lesson.shown[1 - k]) : ""));
  if (asks === "which") return option;
  if (asks === "carries" && option !== "none") return upper(sourceWords(option));
  return t("option." + asks + "." + option, { low, high, a: names[0], b: names[1],
    limit: mm(sceneNow().movement) });
}

/* Shows the question in place of the answer, or what was guessed beside it. */
function veil() {
  const asks = asksNow(), hidden = pending(), given = lesson.chosen.get(lesson.step);
  $("pictures").classList.toggle("veiled", hidden);
  $("step-text").classList.toggle("veiled", hidden);
  $("question").hidden = !hidden;
  $("guess").hidden = !given || !lesson.predict;
  if (given) {
    $("guess").textContent = given.option ? t(given.right === null ? "guess.unknown"
      : given.right ? (given.alike ? "guess.right.too" : "guess.right") : "guess.wrong",
    { said: given.words, answer: given.answerWords }) : "";
    $("guess").hidden = $("guess").hidden || !given.option;
  }
  if (!hidden) return;
  $("question-text").textContent = t("ask." + asks, { load: newton(Number($("load").value)) });
  $("options").replaceChildren(...QUESTIONS[asks].options(lesson.shown.filter(Boolean)).map((option) => {
    const button = document.createElement("button");
    button.type = "button";
    button.dataset.option = option;
    button.textContent = optionWords(asks, option);
    button.addEventListener("click", () => reveal(option));
    return button;
  }));
}

/* What was guessed (null: shown without a guess) is kept, and the answer appears. */
function reveal(option) {
  const asks = asksNow(), shown = lesson.shown.filter(Boolean);
  const known = shown.length > 0 && shown.every((n) => n.verdict !== "not known");
  const right = known ? QUESTIONS[asks].right(shown) : [], told = right.length > 0;
  const words = right.map((r) => optionWords(asks, r));
  lesson.chosen.set(lesson.step, { option, answer: told ? right[0] : null, alike: right.length > 1,
    right: told ? right.includes(option) : null, words: option ? optionWords(asks, option) : "",
    answerWords: words.length > 1 ? t("guess.alike", { all: words.join(" / ") }) : words.join("") });
  writeStep();
  present("");
  announce();
  $("next").focus();
}

/* After the last step: what was asked, guessed and found. */
function summary() {
  const given = [...lesson.chosen].filter(([, g]) => g.option);
  const right = given.filter(([, g]) => g.right).length;
  const line = document.createElement("p");
  line.textContent = given.length ? t("summary.count", { right, all: given.length }) : t("summary.none");
  const table = document.createElement("table"), rows = given.sort((a, b) => a[0] - b[0]);
  table.className = "guesses";
  const cells = (texts, tag) => {
    const row = document.createElement("tr");
    texts.forEach((text) => {
      const cell = document.createElement(tag);
      cell.textContent = text;
      row.appendChild(cell);
    });
    return row;
  };
  table.append(cells(["summary.step", "summary.said", "summary.found"].map((k) => t(k)), "th"),
    ...rows.map(([step, g]) => cells([own(DATA.steps[step].title), g.words,
      g.right === null ? t("summary.unknown") : g.right ? t("summary.right") : g.answerWords], "td")));
  return given.length ? [line, table] : [line];
}
