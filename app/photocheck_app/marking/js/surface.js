// The marking surface: the photo, its marks, and where the browser's events go.

const NEXT_SEEN = 0.9; // of the dog's height, that is seen at least where the next mark is likely
const HEIGHT_CSS = 370; // CSS px that the dog's height takes then, where the screen is larger
const FIRST_SEEN = 0.5; // of the photo, around a first mark: any dog's withers are within
const DOG_MARGIN = 0.8; // of the dog's height, around all its marks
const FRAME_SEEN = 1.15; // of the dog's frame, where it was seen by the program
const SMALLEST_DOG = 0.08; // of the photo's width; marks nearer together tell no dog's size

const SHORT_CSS = 480; // a screen lower than this

const surfaces = new WeakMap();
// Live points by stay, so that a move within the page does not lose them.
const stays = new Map();

class Surface extends Keyed {
  constructor(root, data, send) {
    super();
    Object.assign(this, { root, data, sendState: send, pointers: new Map(), press: null });
    // What was placed last, what is looked at in close-up, and whether the view was moved by hand.
    Object.assign(this, { latest: null, looking: null, byHand: false });
    const kept = stays.get(data.mount);
    this.turn = kept ? kept.turn : 0;
    this.placed = kept ? kept.placed : { ...EMPTY, ...data.start };
    this.history = kept ? kept.history : { undo: [], redo: [] };
    this.active = data.readOnly ? null : nextToPlace(this.placed, data, null);
    this.cross = null;
    this.panel = new Panel(root);
    this.stage = root.querySelector(".stage");
    this.svg = root.querySelector(".overlay");
    this.photo = root.querySelector(".photo");
    this.stage.style.setProperty("--ratio", `${data.size[0]} / ${data.size[1]}`);
    this.stage.style.setProperty("--share", data.size[0] / data.size[1]);
    this.overlay = new Overlay(this.svg);
    this.lens = new Lens(root.querySelector(".lens"), 40);
    this.close = new CloseUp(root.querySelector(".close"), 16);
    this.view = new View(this.stage, [this.svg, this.photo], data.size);
    this.panel.build(data, this.steps);
    this.listen();
    this.loadPhoto();
    // The dog as a whole first, so that one knows where one is; then what is asked, close up.
    if (this.asked) this.lookAtDog(false);
    this.lookOn(Boolean(this.asked));
    this.draw();
  }

  // The landmark whose proposed place is to be confirmed or corrected now, as an id, or null.
  get asked() {
    const { pending } = this;
    return pending && proposedAt(this.data, pending) ? pending : null;
  }

  // What a press on bare photo places: what is asked for, else the next that is missing.
  get pending() {
    if (this.active && !pointOf(this.placed, this.active)) return this.active;
    return this.data.readOnly ? null : nextToPlace(this.placed, this.data, null);
  }

  // The dog as the marks have it, or null while they do not tell.
  get dog() {
    const { layout, proposed, truth } = this.data;
    const dog = laidThrough(layout, { ...proposed, ...truth, ...this.placed.marks });
    return dog && dog.height > SMALLEST_DOG * this.data.size[0] ? dog : null;
  }

  // CSS px of the lens for one px of the photo.
  get lensScale() {
    const { dog } = this;
    const seen = dog ? LENS_HEIGHT * dog.height : LENS_SHARE * this.data.size[0];
    return Math.min(Math.max(LENS_CSS / seen, 2 * this.view.scale), MOST_CSS_PER_PX);
  }

  get mayPlaceAtCross() {
    return Boolean(this.cross && this.active && !pointOf(this.placed, this.active));
  }

  // The mark that is shown in close-up beside the photo.
  get shownClose() {
    if (this.asked) return this.asked;
    for (const id of [this.active, this.latest]) if (id && pointOf(this.placed, id)) return id;
    return null;
  }

  // --- where to look ---------------------------------------------------------

  // On: to the next one to place, or to the whole dog.  Whoever moved the view keeps it.
  lookOn(glide = true) {
    this.looking = null;
    const { size, truth, layout, readOnly } = this.data;
    const { dog, pending, asked } = this;
    const name = pending?.startsWith("mark.") ? pending.slice(5) : "";
    const marks = { ...truth, ...this.placed.marks };
    const placed = Object.values(marks);
    if (this.byHand) {
      if (asked) this.view.show(proposedAt(this.data, asked));
      else if (dog && name && layout[name]) this.view.show(within(dog.at(name), size));
    } else if (dog && name && layout[name]) {
      const seen = dog.height * Math.max(NEXT_SEEN, Math.min(...this.view.room) / HEIGHT_CSS);
      // The question below has it large: whether a place is right is seen by what lies about it.
      this.look(proposedAt(this.data, pending) || dog.at(name), [seen, seen], glide);
    } else if (asked) this.lookClosely(proposedAt(this.data, asked), glide);
    else if (!readOnly && name && placed.length === 1)
      this.look(placed[0], size.map((side) => FIRST_SEEN * side), glide);
    else if (name && this.data.frame && !placed.length) this.lookAtDog(glide);
    else if (pending || !dog) this.look(this.middle, size, glide);
    else {
      const { centre, size: span } = enclosing(placed);
      this.look(centre, span.map((side) => side + DOG_MARGIN * dog.height), glide);
    }
  }

  lookAtReference() {
    const { centre, size } = enclosing(this.placed.reference);
    const side = 2 * Math.max(...size);
    this.look(centre, [side, side], true);
  }

  // Close up: what is right and what is not is seen at once.
  lookAt(id) {
    this.active = this.looking = id;
    this.lookClosely(pointOf(this.placed, id), true);
  }

  lookClosely(xy, glide) {
    const seen = 2 * LENS_CSS / this.lensScale;
    this.look(xy, [seen, seen], glide);
  }

  // The whole dog, as far as it was seen before anything was placed.
  lookAtDog(glide) {
    const [left, top, right, bottom] = this.data.frame || [0, 0, ...this.data.size];
    const span = [right - left, bottom - top].map((side) => FRAME_SEEN * side);
    this.look([(left + right) / 2, (top + bottom) / 2], span, glide);
  }

  look(centre, span, glide) {
    this.aimed = { centre, span };
    const calm = matchMedia("(prefers-reduced-motion: reduce)").matches;
    this.view.aim(centre, span, glide && !calm, () => {
      this.sharpenIfNeeded();
      this.draw();
    });
  }

  get middle() {
    return this.data.size.map((side) => (side - 1) / 2);
  }

  get steps() {
    const side = Math.max(...this.data.size);
    return { fine: 1, medium: Math.max(2, Math.round(side / 200)), coarse: Math.max(5, Math.round(side / 40)) };
  }

  get step() {
    return this.steps[this.root.querySelector("select").value];
  }

  // Data changed while on the page: everything but the points themselves.
  update(data, send) {
    const shapeChanged = data.shape !== this.data.shape;
    // The page outlived its session (a phone asleep, a server begun anew): the new one is told.
    const reborn = data.mount !== this.data.mount;
    if (data.readOnly !== this.data.readOnly) this.overlay.clear();
    Object.assign(this, { data, sendState: send });
    if (shapeChanged && this.placed.reference.length) {
      this.placed = { ...this.placed, reference: [] };
      this.turn += 1;
      this.history = { undo: [], redo: [] };
      this.sendSoon(0);
    }
    if (reborn) this.sendSoon(0);
    if (data.readOnly) this.active = null;
    else if (!this.active || !this.isId(this.active)) this.active = nextToPlace(this.placed, data, null);
    this.panel.build(data, this.steps);
    this.draw();
  }

  isId(id) {
    const [kind, name] = id.split(".");
    if (kind === "mark") return [...this.data.landmarks, ...this.data.optional].includes(name);
    if (kind === "bend") return Boolean(pointOf(this.placed, id));
    return Number(name) <= this.placed.reference.length && this.data.shape !== "none" &&
      (Boolean(pointOf(this.placed, id)) || referenceWanted(this.placed, this.data) || this.data.shape === "outline");
  }

  // --- the photo -----------------------------------------------------------

  loadPhoto() {
    const waiting = this.root.querySelector(".waiting");
    const words = waiting.querySelector(".waiting-words");
    waiting.hidden = false;
    words.textContent = this.data.words.loading;
    waiting.querySelector("button").hidden = true;
    this.fetchPatiently().then(
      () => {
        waiting.hidden = true;
        this.stage.dataset.ready = "yes";
        this.sharpenIfNeeded();
        // A phone held across shows little else.
        if (window.innerHeight < SHORT_CSS && !this.data.readOnly) this.comeIntoSight();
      },
      () => {
        words.textContent = this.data.words.load_failed;
        waiting.querySelector("button").hidden = false;
      },
    );
  }

  // A run that the server breaks off drops its pictures; the next one serves them again.
  async fetchPatiently() {
    for (const pause of [300, 1000, 3000]) {
      try {
        return await this.fetchCopy(this.data.pictures[0], ".copy:not(.sharp)");
      } catch {
        await new Promise((go) => setTimeout(go, pause));
      }
    }
    return this.fetchCopy(this.data.pictures[0], ".copy:not(.sharp)");
  }

  async fetchCopy(copy, selector) {
    if (!copy) throw new Error("no photo");
    const picture = new Image();
    picture.src = copy.url;
    await picture.decode();
    const [width, height] = this.data.size;
    for (const image of this.root.querySelectorAll(selector)) {
      // Pixels reach half a pixel beyond their centres, and (0, 0) is the centre of the first.
      for (const [key, value] of Object.entries({ x: -0.5, y: -0.5, width, height }))
        image.setAttribute(key, value);
      image.setAttribute("href", copy.url);
    }
  }

  // The larger copy, once the screen can show more than the smaller one holds.
  sharpenIfNeeded(anyway = false) {
    const [first, sharp] = this.data.pictures;
    if (!sharp || this.sharpening || !this.stage.dataset.ready) return;
    const shown = this.view.scale * this.data.size[0] * window.devicePixelRatio;
    if (!anyway && shown < first.width * 1.1) return;
    this.sharpening = this.fetchCopy(sharp, ".copy.sharp").catch(() => {
      this.sharpening = null; // the smaller copy still serves; the next zoom tries again
    });
  }

  // --- drawing -------------------------------------------------------------

  draw() {
    this.view.apply();
    this.stage.classList.toggle("zoomed", this.view.zoomed);
    this.stage.classList.toggle("placing", Boolean(this.pending));
    this.stage.classList.toggle("gliding", Boolean(this.view.gliding));
    this.overlay.draw({
      placed: this.placed,
      data: this.data,
      words: this.data.words,
      active: this.active,
      asked: this.asked,
      cross: (this.press?.aiming && this.press.point) || this.cross,
      view: this.view,
      dragging: Boolean(this.press?.moved),
      roomy: this.stage.clientWidth >= 560,
      title: (id) => this.panel.titleOf(id),
      describe: (id, xy) => this.where(this.panel.titleOf(id), xy),
    });
    this.panel.update(this);
    this.root.querySelector("[data-do=zoom_out]").disabled = !this.view.zoomed;
    this.root.querySelector("[data-do=zoom_fit]").disabled = !this.view.zoomed;
    if (this.lensAt) {
      const at = this.lensAt();
      const scale = this.press?.fine || this.lensScale;
      const under = this.press ? this.fromCorner(this.press.last) : this.view.toStage(at);
      this.lens.show(at, scale, this.view, this.overlay.lines, under);
    }
    const close = this.shownClose;
    const near = close && (pointOf(this.placed, close) || proposedAt(this.data, close));
    if (near) this.close.around(near, this.lensScale * 0.8, CLOSE_CSS, this.overlay.lines);
    else this.close.hide();
  }

  fromCorner([x, y]) {
    const { left, top } = this.stage.getBoundingClientRect();
    return [x - left, y - top];
  }

  drawSoon() {
    this.frame ||= requestAnimationFrame(() => {
      this.frame = 0;
      this.pinchOn();
      this.draw();
    });
  }

  // `at` gives the point to magnify, so that it follows a drag.
  showLens(at, forMs = 0) {
    clearTimeout(this.lensTimer);
    this.lensAt = at;
    this.sharpenIfNeeded(true);
    if (forMs) this.lensTimer = setTimeout(() => this.hideLens(), forMs);
  }

  hideLens() {
    clearTimeout(this.lensTimer);
    this.lensAt = null;
    this.lens.hide();
  }

  where(title, [x, y], text = this.data.words.where) {
    const [width, height] = this.data.size;
    return filled(text, { title, x: Math.round(x), y: Math.round(y), width, height });
  }

  say(text) {
    this.root.querySelector(".said").textContent = text;
  }

  listen() {
    this.closing = new AbortController();
    const on = (target, name, handle, options = {}) =>
      target.addEventListener(name, handle, { ...options, signal: this.closing.signal });
    on(this.svg, "pointerdown", (e) => this.down(e));
    // The click that browsers make of a tap would find what lies there by now: the words above the
    // photo change with each mark, and the tools move up under the finger.
    on(this.svg, "touchend", (e) => e.cancelable && e.preventDefault(), { passive: false });
    on(this.svg, "pointermove", (e) => this.move(e));
    on(this.svg, "pointerup", (e) => this.up(e, false));
    on(this.svg, "pointercancel", (e) => this.up(e, true));
    // A long press brings up a menu on some phones.
    on(this.svg, "contextmenu", (e) => this.pointers.size && e.preventDefault());
    on(this.svg, "wheel", (e) => this.wheel(e), { passive: false });
    // Two fingers belong to the photo, also where one finger scrolls the page.
    on(this.svg, "touchstart", (e) => e.touches.length > 1 && e.preventDefault(), { passive: false });
    on(this.svg, "keydown", (e) => this.key(e));
    on(this.svg, "focusin", (e) => this.focused(e));
    on(this.svg, "focusout", () => {
      this.cross = null;
      this.drawSoon();
    });
    on(this.root.querySelector(".surface"), "keydown", (e) => this.undoKey(e));
    on(this.root.querySelector(".surface"), "click", (e) => this.click(e));
    on(this.root.querySelector(".surface"), "focusout", () => this.sendNow());
    // A press elsewhere on the page may end the stay: what waits goes first.
    for (const pressed of ["pointerdown", "click"]) // the latter alone where nobody's pointer did it
      on(document, pressed, (e) => e.composedPath().includes(this.stage) || this.sendNow(), { capture: true });
    this.resized = new ResizeObserver(() => {
      if (this.aimed && !this.byHand) this.look(this.aimed.centre, this.aimed.span, false);
      this.draw();
      this.sharpenIfNeeded();
    });
    this.resized.observe(this.stage);
  }

  leave() {
    this.sendNow();
    this.view.stop();
    this.resized.disconnect();
    clearTimeout(this.lensTimer);
    this.closing.abort();
  }
}

export default function ({ parentElement, data, setStateValue }) {
  const here = surfaces.get(parentElement);
  if (here && here.data.name === data.name) here.update(data, setStateValue);
  else {
    here?.leave();
    surfaces.set(parentElement, new Surface(parentElement, data, setStateValue));
  }
  return () => {
    surfaces.get(parentElement)?.leave();
    surfaces.delete(parentElement);
  };
}
