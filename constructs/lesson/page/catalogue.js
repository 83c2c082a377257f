/* All words of the page come from its catalogue, in the language that is chosen. */
const DATA = JSON.parse(document.getElementById("data").textContent);
let language = DATA.languages[0].id;

const has = (key) => key in DATA.words[language];
function t(key, values = {}) {
  if (!has(key)) throw new Error("no words for " + key + " in " + language);
  return DATA.words[language][key].replace(/\{(\w+)\}/g, (_, name) => {
    if (!(name in values)) throw new Error("nothing to put for " + name + " in " + key);
    return values[name];
  });
}

/* A name of the shipped lesson in the chosen language; a name of one's own stays as it is. */
const named = (name) => (DATA.names[language] || {})[name] || name;

/* What differs between languages in the data: a text for each of them. */
const own = (texts) => texts[language];

const fixed = (x, digits) => x.toFixed(digits).replace("-", "−").replace(".", t("decimal"));
const mm = (x) => fixed(x, Math.abs(x) < 0.0995 ? 3 : 2) + " mm";
const newton = (x) => Math.round(x) + " N";
const about = (x) => Number(x.toPrecision(3)) + " N";   // a limit, as the tour rounds it
const percent = (x) => Math.round(x) + " %";
const plain = (x) => fixed(x, 1).replace(/[.,]0$/, "");
const upper = (text) => text[0].toUpperCase() + text.slice(1);
const tied = (text) => text.replace(/(\d) (?=mm|N\b|%)/g, "$1\u00a0");

function listed(parts) {
  return parts.length < 2 ? parts.join("") : parts.slice(0, -1).join(", ") + t("and") +
    parts[parts.length - 1];
}

/* Puts the words into the page: text of elements with data-say, names of those with data-name. */
function sayAll() {
  document.documentElement.lang = language;
  document.querySelectorAll("[data-say]").forEach((e) => { e.textContent = t(e.dataset.say); });
  document.querySelectorAll("[data-name]").forEach((e) => {
    e.setAttribute("aria-label", t(e.dataset.name));
  });
  document.querySelectorAll(".below").forEach((e) => { e.hidden = e.lang !== language; });
}
