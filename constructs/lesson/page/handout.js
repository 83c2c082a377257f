/* The handout: every step with its picture, its scale and its words, on two pages of paper. */
async function writeHandout() {
  const per = 4 * Math.ceil(DATA.steps.length / 8), sheets = [];   // whole rows of two and of four
  for (const [i, s] of DATA.steps.entries()) {
    if (i % per === 0) sheets.push([]);
    const cell = document.createElement("article"), title = document.createElement("h3");
    title.textContent = (i + 1) + ". " + own(s.title);
    const pictures = document.createElement("div");
    pictures.className = "drawn";
    const shown = [];
    for (const [k, at] of (s.sides || []).entries()) {
      const q = at && question(DATA.scenes[s.scene], { ...at, out: new Set(at.out) }, s.point, s.load);
      const answer = q && await solver.ask(q, k);
      if (!answer) continue;
      shown.push(stateShown(q, answer));
    }
    const low = Math.min(...shown.map((now) => now.low));
    const extra = Math.max(...shown.map((now) => legendOf({ ...now, low }).extra));
    const times = Math.min(...shown.map((now) => (now.held ? now.magnified : Infinity)));
    for (const now of shown) {        // both to one scale
      const svg = document.createElementNS(SVG, "svg");
      drawSection(svg, { ...now, low, extra, magnified: now.held ? times : 0 });
      svg.setAttribute("role", "img");
      svg.setAttribute("aria-label", own(s.title));
      const figure = document.createElement("figure"), note = document.createElement("figcaption");
      note.textContent = now.held ? t("print.scale", { times: scaleWords(times) }) : t("print.fails");
      figure.append(svg, note);
      pictures.appendChild(figure);
    }
    pictures.classList.toggle("both", shown.length > 1);
    cell.append(title, pictures, ...own(s.text).map((text) => {
      const p = document.createElement("p");
      p.textContent = text;
      return p;
    }));
    sheets[sheets.length - 1].push(cell);
  }
  $("sheets").replaceChildren(...sheets.map((cells, i) => {
    const sheet = document.createElement("section"), head = document.createElement("p");
    sheet.className = "sheet";
    head.className = "sheet-head";
    head.textContent = own(DATA.title) + " (" + (i + 1) + "/" + sheets.length + ") · " + t("label");
    const grid = document.createElement("div");
    grid.className = "cells";
    grid.append(...cells);
    if (i === sheets.length - 1) grid.append(cannotTell());
    sheet.append(head, grid);
    return sheet;
  }));
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
window.addEventListener("afterprint", () => document.body.classList.remove("printing-all"));
