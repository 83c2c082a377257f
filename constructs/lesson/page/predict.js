/* Predict, then reveal: what a step asks, what was answered until the end of the talk, the summary. */
const asksNow = () => (DATA.steps[lesson.step] || {}).asks;

/* Whether the answer of this step is still to be guessed. */
const pending = () => lesson.predict && !!asksNow() && !lesson.chosen.has(lesson.step);

/* Choices and the right one of a step's question, read from the states that it shows. */
const QUESTIONS = {
  within: { options: () => ["within", "beyond", "fails"],
    answer: ([now]) => (!now.held ? "fails" : now.largest <= now.scene.movement ? "within" : "beyond") },
  way: { options: () => ["low", "straight", "high", "none"],
    answer: ([now]) => wayOf(now) },
  carries: { options: ([now]) => [...new Set(now.layout.sources.map((s) => s.kind))]
    .filter((k) => k !== "load" && has("source." + k)),
  answer: ([now]) => (now.held ? carriers(now).kinds.reduce((a, b) => (b.share > a.share ? b : a)).kind : "none") },
  which: { options: () => own(DATA.steps[lesson.step].which).slice().sort(),
    answer: () => own(DATA.steps[lesson.step].which)[0] },
  less: { options: () => ["a", "b", "same"],
    answer: ([a, b]) => (!a.held && !b.held ? "same" : a.held !== b.held ? (a.held ? "a" : "b")
      : Math.abs(a.largest - b.largest) < 0.05 * Math.max(a.largest, b.largest) ? "same"
        : a.largest < b.largest ? "a" : "b") },
};
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

function optionWords(asks, option) {
  const [low, high] = sceneNow().sides.map((s) => t("side." + s));
  const names = lesson.shown.map((now) => (now ? described(now) : ""));
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
      : given.right ? "guess.right" : "guess.wrong",
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
  const answer = known ? QUESTIONS[asks].answer(shown) : null, told = answer !== null;
  lesson.chosen.set(lesson.step, { option, answer, right: told ? option === answer : null,
    words: option ? optionWords(asks, option) : "", answerWords: told ? optionWords(asks, answer) : "" });
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
