// Drawing over the photo: lines, marks, the keyboard's cross and the magnifier.

const SVG = "http://www.w3.org/2000/svg";

function svgElement(name, attributes = {}, parent = null) {
  const element = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
  if (parent) parent.append(element);
  return element;
}

const pathOf = (line, closed) => `M ${line.map((p) => p.join(" ")).join(" L ")}${closed ? " Z" : ""}`;

// A line with a dark rim, legible on any ground.
function rimmed(parent, line, { colour = "", kind = "", closed = false } = {}) {
  const d = pathOf(line, closed);
  svgElement("path", { d, class: `rim ${kind}` }, parent);
  const path = svgElement("path", { d, class: `line ${kind}` }, parent);
  if (colour) path.style.stroke = colour;
}

const LETTER_CSS = 8.5; // about how wide a letter of a label is
const LINE_CSS = 17; // and how high a line of them

class Overlay {
  constructor(svg) {
    this.svg = svg;
    svg.replaceChildren();
    this.lines = svgElement("g", { class: "lines" }, svg);
    this.truths = svgElement("g", { class: "truths" }, svg);
    this.proposals = svgElement("g", { class: "proposals", "aria-hidden": "true" }, svg);
    this.marks = svgElement("g", { class: "marks" }, svg);
    this.cross = svgElement("g", { class: "cross", "aria-hidden": "true" }, svg);
    for (const kind of ["casing", "stroke"])
      svgElement("path", { class: kind, d: "M -26 0 H -6 M 6 0 H 26 M 0 -26 V -6 M 0 6 V 26" }, this.cross);
    svgElement("circle", { class: "dot", r: 1.5 }, this.cross);
    this.byId = new Map();
  }

  // `scene`: {placed, data, words, active, asked, cross, view, describe, title, roomy, dragging}
  draw(scene) {
    this.drawLines(scene);
    this.drawTruths(scene);
    this.drawProposed(scene);
    this.drawMarks(scene);
    this.cross.toggleAttribute("hidden", !scene.cross);
    if (scene.cross) this.put(this.cross, scene.cross, scene.view);
  }

  clear() {
    this.marks.replaceChildren();
    this.byId.clear();
  }

  put(element, xy, view) {
    element.setAttribute("transform", `translate(${xy[0]} ${xy[1]}) scale(${1 / view.scale})`);
  }

  drawLines({ placed, data }) {
    this.lines.replaceChildren();
    if (data.seen.length && !placed.reference.length)
      for (const points of foursOf(data.seen, data.shape)) this.outline(points, data.shape, "seen");
    if (placed.reference.length > 1)
      this.outline(placed.reference, data.shape, "own", data.needed[0]);
    for (const [span, { ends, colour }] of Object.entries(data.spans)) {
      const line = lineOf(placed, span, ends);
      if (line) rimmed(this.lines, line, { colour, kind: "harness" });
    }
  }

  outline(points, shape, kind, needed = 0) {
    const closed = points.length >= Math.max(3, needed);
    const line = shape === "outline" && closed ? aroundMiddle(points) : points;
    if (line.length > 1) rimmed(this.lines, line, { kind: `reference ${kind}`, closed });
  }

  drawTruths({ placed, data, view, words }) {
    this.truths.replaceChildren();
    for (const [name, xy] of Object.entries(data.truth)) {
      const own = placed.marks[name];
      if (own) rimmed(this.truths, [own, xy], { kind: "miss" });
      const title = words.true_mark.replace("{title}", words[`title.${name}`]);
      const mark = svgElement("g", { class: "truth", role: "img", "aria-label": title }, this.truths);
      svgElement("path", { class: "casing", d: "M 0 -8 L 8 0 L 0 8 L -8 0 Z" }, mark);
      svgElement("path", { class: "stroke", d: "M 0 -8 L 8 0 L 0 8 L -8 0 Z" }, mark);
      this.put(mark, xy, view);
    }
  }

  // Hollow and broken, unlike any mark.  What may be placed besides is shown when it is asked for.
  drawProposed({ placed, data, asked, cross, view }) {
    this.proposals.replaceChildren();
    for (const [name, xy] of Object.entries(data.proposed)) {
      const id = `mark.${name}`;
      if (data.readOnly || placed.marks[name]) continue;
      if (id !== asked && !data.landmarks.includes(name)) continue;
      if (id === asked && cross) continue; // it is being dragged
      const kind = id === asked ? "proposed asked" : "proposed";
      const mark = svgElement("g", { class: kind, "data-proposed": name }, this.proposals);
      svgElement("circle", { class: "casing", r: 11 }, mark);
      svgElement("circle", { class: "stroke", r: 11 }, mark);
      this.put(mark, xy, view);
    }
  }

  drawMarks(scene) {
    const { placed, data, active, view } = scene;
    const ids = idsOf(placed, data);
    for (const [id, mark] of this.byId)
      if (!ids.includes(id)) {
        // Focus would fall to the page's beginning.
        const held = mark.getRootNode().activeElement === mark;
        mark.remove();
        this.byId.delete(id);
        if (held) this.svg.focus({ preventScroll: true });
      }
    const across = Object.values(placed.marks).map((xy) => xy[0]);
    const middle = (Math.min(...across) + Math.max(...across)) / 2;
    const said = [];
    ids.forEach((id, order) => {
      const mark = this.byId.get(id) || this.newMark(id, data.readOnly);
      if (this.marks.children[order] !== mark) {
        const after = this.marks.children[order] || null;
        this.marks.insertBefore(mark, after);
      }
      const xy = pointOf(placed, id);
      this.put(mark, xy, view);
      mark.classList.toggle("active", id === active);
      mark.setAttribute("aria-label", scene.describe(id, xy));
      const label = mark.querySelector(".label");
      const shown = id.startsWith("mark.") && (scene.roomy || (id === active && !scene.dragging));
      label.textContent = shown ? scene.title(id) : "";
      // Away from the other marks, and so from the lines, where there is room for it.
      const away = xy[0] < middle;
      const [x, y] = view.toStage(xy);
      const long = LETTER_CSS * label.textContent.length + 15;
      const left = away ? x > long : x + long > view.room[0];
      label.setAttribute("x", left ? -15 : 15);
      label.setAttribute("text-anchor", left ? "end" : "start");
      // Above or below another's where they would lie over each other.
      const ends = left ? [x - long, x - 15] : [x + 15, x + long];
      const over = said.find((one) =>
        shown && Math.abs(one.y - y) < LINE_CSS && one.ends[0] < ends[1] && ends[0] < one.ends[1]);
      const to = over ? over.y + (y < over.y ? -LINE_CSS : LINE_CSS) : y;
      label.setAttribute("y", 5 + to - y);
      if (shown) said.push({ y: to, ends });
    });
  }

  newMark(id, readOnly) {
    const kind = id.split(".")[0];
    const mark = svgElement("g", { class: `mark ${kind}`, "data-id": id });
    if (readOnly) mark.setAttribute("role", "img");
    else for (const [key, value] of [["role", "button"], ["tabindex", "0"]]) mark.setAttribute(key, value);
    svgElement("circle", { class: "grab", r: 22 }, mark);
    svgElement("circle", { class: "halo", r: 15 }, mark);
    const shape = kind === "mark" ? ["circle", { r: 8 }] : kind === "bend"
      ? ["rect", { x: -6, y: -6, width: 12, height: 12, rx: 2 }]
      : ["path", { d: "M -9 0 H -3 M 3 0 H 9 M 0 -9 V -3 M 0 3 V 9" }];
    svgElement(shape[0], { ...shape[1], class: "casing" }, mark);
    svgElement(shape[0], { ...shape[1], class: "stroke" }, mark);
    svgElement("circle", { class: "dot", r: 1.5 }, mark);
    svgElement("text", { class: "label", y: 5, "aria-hidden": "true" }, mark);
    this.byId.set(id, mark);
    return mark;
  }
}

// A sheet of markers is seen as four corners of each.
function foursOf(points, shape) {
  if (shape === "outline" || points.length <= 4 || points.length % 4) return [points];
  return Array.from({ length: points.length / 4 }, (_, i) => points.slice(4 * i, 4 * i + 4));
}

// Points of an outline placed in any order, as a line around their middle.
function aroundMiddle(points) {
  const cx = points.reduce((sum, p) => sum + p[0], 0) / points.length;
  const cy = points.reduce((sum, p) => sum + p[1], 0) / points.length;
  return [...points].sort((a, b) => Math.atan2(a[1] - cy, a[0] - cx) - Math.atan2(b[1] - cy, b[0] - cx));
}

const LENS_CSS = 184;
const CLOSE_CSS = 88; // of the close-up below the photo
const FINGER_CSS = 44; // from the middle of a fingertip to what it leaves to be seen
// Of the photo's width that the lens shows while the dog's size is not known: where the trunk
// takes a quarter of the width, some three tenths of its length.
const LENS_SHARE = 0.075;
const LENS_HEIGHT = 0.28; // the same of the dog's height, once that is known

// A part of the photo in close-up, with the lines over it and a cross at the point.
class CloseUp {
  constructor(svg, arm) {
    this.svg = svg;
    this.lines = svg.querySelector(".lens-lines");
    for (const cross of svg.querySelectorAll(".lens-cross"))
      cross.setAttribute("d", `M -${arm} 0 H -5 M 5 0 H ${arm} M 0 -${arm} V -5 M 0 5 V ${arm}`);
  }

  hide() {
    this.svg.toggleAttribute("hidden", true);
  }

  // `scale`: CSS px for one px of the photo.
  around(xy, scale, size, overlayLines) {
    const side = size / scale;
    this.svg.setAttribute("viewBox", `${xy[0] - side / 2} ${xy[1] - side / 2} ${side} ${side}`);
    for (const cross of this.svg.querySelectorAll(".lens-cross"))
      cross.setAttribute("transform", `translate(${xy[0]} ${xy[1]}) scale(${1 / scale})`);
    this.lines.replaceChildren(...[...overlayLines.children].map((line) => line.cloneNode()));
    this.svg.toggleAttribute("hidden", false);
  }
}

class Lens extends CloseUp {
  get size() {
    return LENS_CSS;
  }

  hide() {
    super.hide();
    this.at = null;
  }

  // The photo's point `xy`, clear of what presses at `from` (CSS px from the stage's corner).
  show(xy, scale, view, overlayLines, from) {
    this.around(xy, scale, LENS_CSS, overlayLines);
    const [half, away] = [LENS_CSS / 2, LENS_CSS / 2 + FINGER_CSS];
    // It stays where it came up, unless the finger slides under it.
    const under = !this.at || distance(this.at, from) < half + FINGER_CSS / 2;
    if (under) this.at = this.placeFor(from, view, half, away);
    this.svg.style.transform = `translate(${this.at[0] - half}px, ${this.at[1] - half}px)`;
  }

  // Above the finger while the screen has room, also beyond the photo; else beside it.
  placeFor([x, y], view, half, away) {
    const [width, height] = view.room;
    const top = view.stage.getBoundingClientRect().top;
    const held = (v, low, high) => Math.min(Math.max(v, low), Math.max(low, high));
    if (top + y - away - half > 8) return [held(x, half + 2, width - half - 2), y - away];
    const aside = x + away + half <= width ? x + away : x - away;
    return [held(aside, half + 2, width - half - 2), held(y, half + 8 - top, height - half - 2)];
  }
}
