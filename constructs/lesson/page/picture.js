/* The picture that is shown, as a file for slides: the sections with what is said of them. */
const FILE = { width: 1600, margin: 40, line: 34, size: 26, font: "Arial, 'DejaVu Sans', sans-serif" };

function lines(text, most) {
  return text.split(" ").reduce((out, word) => {
    const last = out[out.length - 1];
    if (last && (last + " " + word).length <= most) out[out.length - 1] = last + " " + word;
    else out.push(word);
    return out;
  }, []);
}

/* One drawing of all sections side by side, with title, sentence and label. */
function wholePicture() {
  const two = lesson.sides[1] !== null, ids = two ? [["section", "outcome", "picture-note"],
    ["section-b", "outcome-b", "picture-note-b"]] : [["section", "outcome", "picture-note"]];
  const { width, margin, line, size, font } = FILE, wide = (width - margin * (ids.length + 1)) / ids.length;
  const root = document.createElementNS(SVG, "svg"), high = two ? 760 : 900;
  let bottom = 0;
  make(root, "rect", { width: "100%", height: "100%", fill: "#ffffff" });
  const write = (text, x, y, attributes = {}) => make(root, "text", { x: f2(x), y: f2(y), "font-size": size,
    "font-family": font, fill: "#1a1a1a", ...attributes }, text);
  write($("title").textContent, margin, margin + size, { "font-weight": 700 });
  ids.forEach(([picture, words, note], k) => {
    const x = margin + k * (wide + margin), drawn = $(picture).cloneNode(true);
    drawn.removeAttribute("id");
    for (const [a, v] of Object.entries({ x, y: 2 * margin, width: wide, height: high, "font-family": font })) {
      drawn.setAttribute(a, v);
    }
    root.appendChild(drawn);
    let y = 2 * margin + high + line;
    for (const text of lines($(note).textContent + ". " + $(words).textContent, Math.floor(wide / (0.53 * size)))) {
      write(text, x, y);
      y += line;
    }
    bottom = Math.max(bottom, y);
  });
  lines(t("label"), Math.floor(width / (0.56 * size))).forEach((text) => {
    write(text, margin, bottom + 0.5 * line, { "font-weight": 700, fill: "#8a3d00" });
    bottom += line;
  });
  const height = Math.ceil(bottom + margin);
  for (const [a, v] of Object.entries({ xmlns: SVG, width, height, viewBox: [0, 0, width, height].join(" ") })) {
    root.setAttribute(a, v);
  }
  return { text: new XMLSerializer().serializeToString(root), width, height };
}

function save(name, address) {
  const link = document.createElement("a");
  Object.assign(link, { download: name, href: address });
  link.click();
}

const addressOf = (text) => "data:image/svg+xml;charset=utf-8," + encodeURIComponent(text);
const fileName = (end) => "lesson-" + (lesson.step + 1) + end;
const saveSvg = () => save(fileName(".svg"), addressOf(wholePicture().text));

async function savePng() {
  const { text, width, height } = wholePicture(), image = new Image();
  image.src = addressOf(text);
  await image.decode();
  const canvasOf = Object.assign(document.createElement("canvas"), { width, height });
  canvasOf.getContext("2d").drawImage(image, 0, 0);
  save(fileName(".png"), canvasOf.toDataURL("image/png"));
}
