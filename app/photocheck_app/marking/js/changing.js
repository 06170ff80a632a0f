// Changing what is placed, undoing it, and sending it.

const SEND_AFTER_DRAG_MS = 150;
const SEND_AFTER_KEY_MS = 600;
const LENS_AFTER_KEY_MS = 1500;

const BAR_CSS = 64; // above the page, and as much below for its ways on

class Changing {
  change(placed, sendAfter) {
    this.history = { undo: [...this.history.undo, this.placed].slice(-100), redo: [] };
    this.placed = placed;
    this.turn += 1;
    this.sendSoon(sendAfter);
  }

  placeAt(xy) {
    const id = this.active;
    if (!id || pointOf(this.placed, id)) return;
    let placed = withPoint(this.placed, id, within(xy, this.data.size));
    const isPoint = id.startsWith("point.");
    if (isPoint && this.data.shape === "corners" && placed.reference.length === 4)
      placed = { ...placed, reference: clockwise(placed.reference) };
    this.change(placed, SEND_AFTER_DRAG_MS);
    const optional = id.startsWith("mark.") && this.data.optional.includes(id.slice(5));
    let next = optional ? null : nextToPlace(placed, this.data, id);
    if (isPoint && this.data.shape === "outline" && placed.reference.length < this.data.needed[1])
      next = `point.${placed.reference.length}`;
    this.active = next || id;
    this.latest = id;
    const { words } = this.data;
    const said = filled(words.said_placed, { title: this.panel.titleOf(id) });
    this.say(said + (next ? this.nextWords(next) : words.said_done));
    this.draw();
  }

  nextWords(id) {
    const { words } = this.data;
    return filled(proposedAt(this.data, id) ? words.said_asked : words.said_next, { title: this.panel.titleOf(id), hint: this.panel.hintOf(id) });
  }

  // A key's move joins the one before it, so that undo takes back the whole walk.
  nudge(id, dx, dy) {
    const xy = pointOf(this.placed, id);
    const to = within([xy[0] + dx, xy[1] + dy], this.data.size);
    const joined = this.walking === id && this.sendTimer;
    const placed = withPoint(this.placed, id, to);
    if (joined) {
      this.placed = placed;
      this.turn += 1;
      this.sendSoon(SEND_AFTER_KEY_MS);
    } else this.change(placed, SEND_AFTER_KEY_MS);
    this.walking = id;
    this.view.show(to);
    this.showLens(() => pointOf(this.placed, id) || to, LENS_AFTER_KEY_MS);
    this.draw();
    this.say(this.data.words.said_moved + this.where(this.panel.titleOf(id), to));
  }

  moveCross(dx, dy) {
    const from = this.cross || this.view.centre;
    this.cross = within([from[0] + dx, from[1] + dy], this.data.size);
    this.view.show(this.cross);
    this.showLens(() => this.cross || this.view.centre, LENS_AFTER_KEY_MS);
    this.draw();
    this.say(this.where("", this.cross, this.data.words.cross));
  }

  remove(id) {
    if (!id || !pointOf(this.placed, id)) return;
    const title = this.panel.titleOf(id);
    this.change(withoutPoint(this.placed, id), SEND_AFTER_DRAG_MS);
    this.active = this.afterRemoval(id);
    this.hideLens();
    this.say(filled(this.data.words.said_removed, { title }));
    this.draw();
  }

  // A removed required mark is the next to place; anything else leaves nothing chosen.
  afterRemoval(id) {
    if (id.startsWith("mark.") && this.data.landmarks.includes(id.slice(5))) return id;
    return nextToPlace(this.placed, this.data, null);
  }

  addBend(span, found) {
    const bends = this.placed.bends[span] || [];
    if (bends.length >= this.data.mostBends) return;
    this.change(withBend(this.placed, span, within(found.at, this.data.size), found.piece), SEND_AFTER_DRAG_MS);
    this.active = `bend.${span}.${found.piece}`;
    this.say(filled(this.data.words.said_placed, { title: this.panel.titleOf(this.active) }));
    this.draw();
    this.overlay.byId.get(this.active).focus({ preventScroll: true });
    this.comeIntoSight();
  }

  // What is told of the marks is put right here, on the live ones, so that it can be undone.
  putRight() {
    const { exchange, again } = this.data.told;
    const { marks } = this.placed;
    const moved = Object.entries(exchange).map(([to, from]) => [to, marks[from]]);
    const left = Object.fromEntries(Object.entries(marks).filter(([name]) => !again.includes(name)));
    this.change({ ...this.placed, marks: { ...left, ...Object.fromEntries(moved) } }, SEND_AFTER_DRAG_MS);
    this.latest = null;
    this.active = nextToPlace(this.placed, this.data, null);
    this.say(this.active ? this.nextWords(this.active) : this.data.words.said_done);
    this.byHand = false;
    this.lookOn();
    this.draw();
  }

  // Clear of the page's bars, after a choice in the lists or where the photo was half out of sight.
  comeIntoSight() {
    const { top, bottom } = this.stage.getBoundingClientRect();
    if (top >= BAR_CSS && bottom <= window.innerHeight - BAR_CSS) return;
    const calm = matchMedia("(prefers-reduced-motion: reduce)").matches;
    const from = this.root.querySelector(".task").getBoundingClientRect().top;
    this.scrollPage(from - BAR_CSS, calm ? "instant" : "smooth");
  }

  stepBack(from, to, said) {
    const before = this.history[from].pop();
    if (!before) return;
    this.history[to].push(this.placed);
    this.placed = before;
    this.turn += 1;
    this.latest = null;
    this.walking = null;
    this.hideLens();
    this.active = nextToPlace(this.placed, this.data, null);
    this.sendSoon(SEND_AFTER_DRAG_MS);
    this.say(said);
    this.lookOn();
    this.draw();
  }

  sendSoon(after) {
    stays.set(this.data.mount, { placed: this.placed, history: this.history, turn: this.turn });
    clearTimeout(this.sendTimer);
    this.sendTimer = setTimeout(() => this.sendNow(), after);
  }

  sendNow() {
    if (!this.sendTimer) return;
    if (this.press?.moved) {
      // Where a drag passes through is nobody's answer.
      this.sendSoon(SEND_AFTER_DRAG_MS);
      return;
    }
    clearTimeout(this.sendTimer);
    this.sendTimer = 0;
    this.walking = null;
    this.sendState("placed", {
      mount: this.data.mount, shape: this.data.shape, turn: this.turn, ...this.placed,
    });
  }
}
