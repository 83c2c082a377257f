/* The handout: every step with its picture, its scale and its words, on as many pages of paper as
   words of 9 points need; the current step prints on its own. */
const SHEET = 6320, PICTURE = 1000;  // letters that fit on a page, and those that a picture takes the room of
const MOST = 4;                      // pictures that fit on a page across
const PRINTED = { high: 51, wide: 46, words: 3.2 };   // a picture and its words on paper [mm]; 9 points are 3.18 mm
const STEP_TYPE = 5;                 // words in the picture of a step that prints alone [mm of bone]

/* How large words of a picture are drawn [mm of bone] so that they print in 9 points. */
function typeOn(now) {
  const { high, wide, words } = PRINTED, [left, right] = sidesOf(now);
  return words * Math.max((right - left) / wide, (14 - now.low) / (high - ROOM * words));
}

/* Numbers of the steps on each sheet, in their order and as even as may be. */
function dealt(weights) {
  const fill = (most) => weights.reduce((sheets, w, i) => {
    const last = sheets[sheets.length - 1];
    if (last && last.sum + w <= most && last.steps.length < MOST) Object.assign(last, { sum: last.sum + w, steps: [...last.steps, i] });
    else sheets.push({ sum: w, steps: [i] });
    return sheets;
  }, []);
  const count = fill(SHEET).length;
  let most = Math.max(...weights);
  while (fill(most).length > count) most += 20;
  return fill(most).map((s) => s.steps);
}

const element = (name, text, className) => Object.assign(document.createElement(name),
  { textContent: text || "", className: className || "" });

/* A step on paper: title, pictures with one scale below them, words. */
async function printed(s, number) {
  const pictures = element("div", "", "drawn"), shown = [];
  for (const [k, at] of (s.sides || []).entries()) {
    const q = at && question(DATA.scenes[s.scene], { ...at, out: new Set(at.out) }, s.point, s.load);
    const answer = q && await solver.ask(q, k);
    if (answer) shown.push(stateShown(q, answer));
  }
  const low = Math.min(...shown.map((now) => now.low));
  const times = Math.min(...shown.map((now) => (now.held ? now.magnified : Infinity)));
  for (const now of shown) {        // both to one scale
    const svg = document.createElementNS(SVG, "svg");
    drawSection(svg, { ...now, low, type: typeOn({ ...now, low }), magnified: now.held ? times : 0 });
    svg.setAttribute("role", "img");
    svg.setAttribute("aria-label", own(s.title));
    pictures.appendChild(svg);
  }
  const notes = shown.map((now) => (now.held ? t("print.scale", { times: scaleWords(times) }) : t("print.fails")));
  pictures.append(...[...new Set(notes)].map((x) => element("p", x, "scale")));
  pictures.classList.toggle("both", shown.length > 1);
  const cell = document.createElement("article");
  cell.append(element("h3", number + 1 + ". " + own(s.title)), pictures, ...own(s.text).map((x) => element("p", x)));
  return cell;
}

async function writeHandout() {
  const cells = [];
  for (const [i, s] of DATA.steps.entries()) cells.push(await printed(s, i));
  const weights = DATA.steps.map((s) => own(s.text).join(" ").length + PICTURE);
  weights[weights.length - 1] += cannotTell().textContent.length;
  const sheets = dealt(weights);
  $("sheets").replaceChildren(...sheets.map((steps, i) => {
    const sheet = element("section", "", "sheet"), grid = element("div", "", "cells");
    grid.append(...steps.map((k) => cells[k]));
    if (i === sheets.length - 1) grid.append(cannotTell());
    sheet.append(element("p", own(DATA.title) + " (" + (i + 1) + "/" + sheets.length + ") · " + t("label"), "sheet-head"),
      legendPrinted(), grid);
    return sheet;
  }));
}

/* What kinds of screws the pictures of a sheet show. */
function legendPrinted() {
  const line = element("p", "", "legend-printed"), some = DATA.scenes.flatMap((s) => s.families.flat())
    .flatMap((p) => p.screws).filter(Boolean);
  line.append(...ACTS.filter((k) => some.some((x) => x.acts === k)).map((kind) => {
    const item = element("span"), svg = document.createElementNS(SVG, "svg");
    svg.setAttribute("viewBox", "0 -3 10 6");
    drawSample(svg, kind, [0, 0], 9.5);
    item.append(svg, " " + t("legend." + kind));
    return item;
  }));
  return line;
}

/* What the page cannot tell stands on the paper, too. */
function cannotTell() {
  const box = document.querySelector(".cannot").cloneNode(true);
  box.className = "cannot-printed";
  return box;
}

/* Prints the handout; the page itself prints the step that is shown. */
async function printHandout() {
  $("handout").disabled = true;
  await writeHandout();
  $("handout").disabled = false;
  document.body.classList.add("printing-all");
  window.print();
}
/* A step that prints alone has larger words in its pictures. */
function wordsFor(type) {
  lesson.type = type;
  if (lesson.now) present(lesson.changed || "");
}
window.addEventListener("beforeprint", () => {
  if (!document.body.classList.contains("printing-all")) wordsFor(STEP_TYPE);
});
window.addEventListener("afterprint", () => {
  if (lesson.type) wordsFor(0);
  document.body.classList.remove("printing-all");
});
