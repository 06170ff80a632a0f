// Keys on the photo and its marks, and the buttons around it.

class Keyed extends Touched {
  focused(e) {
    const id = e.target.dataset?.id;
    // Focus that a press brings along says nothing: the tap or drag itself decides.
    if (id && e.target.matches(":focus-visible") && !this.pointers.size) {
      this.active = id;
      const xy = pointOf(this.placed, id);
      if (xy) this.view.show(xy);
    } else if (!id && this.svg.matches(":focus-visible") && !this.pointers.size && !this.data.readOnly) {
      this.cross ||= this.view.centre;
      if (!this.active) this.active = nextToPlace(this.placed, this.data, null);
    }
    this.drawSoon();
  }

  key(e) {
    if (e.ctrlKey || e.metaKey || e.altKey) return;
    const id = e.target.dataset?.id;
    const by = this.step * (e.shiftKey ? 5 : 1);
    const moves = { ArrowLeft: [-by, 0], ArrowRight: [by, 0], ArrowUp: [0, -by], ArrowDown: [0, by] };
    const anchor = (id && pointOf(this.placed, id)) || this.cross || this.view.centre;
    if (moves[e.key] && this.data.readOnly) {
      const [dx, dy] = moves[e.key].map((v) => Math.sign(v) * -40);
      this.panned(dx, dy);
      this.draw();
    } else if (moves[e.key]) {
      if (id) this.nudge(id, ...moves[e.key]);
      else this.moveCross(...moves[e.key]);
    } else if (e.key === "Enter" || e.key === " ") {
      if (!id) this.placeAtCross();
    } else if (e.key === "Delete" || e.key === "Backspace") {
      if (id && !this.data.readOnly) this.remove(id);
    } else if (e.key === "+" || e.key === "=") this.zoom(1.5, anchor);
    else if (e.key === "-") this.zoom(1 / 1.5, anchor);
    else if (e.key === "0") this.zoom(1e-9, anchor);
    else return;
    e.preventDefault();
    e.stopPropagation();
  }

  undoKey(e) {
    if (!(e.ctrlKey || e.metaKey) || e.altKey || this.data.readOnly) return;
    const key = e.key.toLowerCase();
    if (key === "z" && !e.shiftKey) this.undo();
    else if (key === "y" || (key === "z" && e.shiftKey)) this.redo();
    else return;
    e.preventDefault();
    e.stopPropagation();
  }

  undo() {
    this.stepBack("undo", "redo", this.data.words.said_undo);
  }

  redo() {
    this.stepBack("redo", "undo", this.data.words.said_redo);
  }

  placeAtCross() {
    if (this.data.readOnly) return;
    if (this.active && !pointOf(this.placed, this.active)) {
      this.cross ||= this.view.centre;
      this.placeAt(this.cross);
    } else this.say(this.data.words.said_nothing);
  }

  zoom(factor, anchor) {
    this.view.stop();
    // The whole photo is a beginning; anything nearer is somebody's choice.
    this.byHand = factor > 1e-3;
    this.looking = null;
    this.view.zoomBy(factor, anchor);
    this.sharpenIfNeeded();
    this.draw();
  }

  click(e) {
    const button = e.target.closest("button");
    if (!button) return;
    const { do: action, pick, bend } = button.dataset;
    if (pick) this.pick(pick);
    else if (bend) {
      const line = lineOf(this.placed, bend, this.data.spans[bend].ends);
      if (line) this.addBend(bend, middleOfLongest(line));
    } else this.act(action);
  }

  pick(id) {
    const [kind, index] = id.split(".");
    // Points of the reference are placed one after the other.
    this.active = kind === "point" && Number(index) > this.placed.reference.length
      ? `point.${this.placed.reference.length}` : id;
    const xy = pointOf(this.placed, this.active);
    if (xy) this.lookAt(this.active);
    else {
      this.say(this.nextWords(this.active));
      this.lookOn();
    }
    this.draw();
    this.comeIntoSight();
  }

  act(action) {
    const anchor = (this.active && pointOf(this.placed, this.active)) || this.cross || this.view.centre;
    const by = this.step;
    const moves = { move_left: [-by, 0], move_right: [by, 0], move_up: [0, -by], move_down: [0, by] };
    if (moves[action] && this.active) {
      if (pointOf(this.placed, this.active)) this.nudge(this.active, ...moves[action]);
      else this.moveCross(...moves[action]);
      return;
    }
    const { reference } = this.placed;
    const doing = {
      undo: () => this.undo(),
      redo: () => this.redo(),
      zoom_in: () => this.zoom(1.6, anchor),
      zoom_out: () => this.zoom(1 / 1.6, anchor),
      zoom_fit: () => this.zoom(1e-9, anchor),
      load: () => this.loadPhoto(),
      remove: () => this.remove(this.active),
      again: () => (this.mayPlaceAtCross ? this.placeAtCross() : this.placeAgain(this.shownClose)),
      correct: () => this.setReference(this.data.seen),
      found_again: () => this.setReference([]),
      add_outline: () => this.pick(`point.${reference.length}`),
      look: () => this.lookFurther(),
      put_right: () => this.putRight(),
      confirm: () => this.confirm(),
    };
    doing[action]?.();
  }

  // Somebody says that what is proposed lies where it should: only now it is a mark.
  confirm() {
    const { asked } = this;
    if (!asked) return;
    this.cross = null;
    this.place(proposedAt(this.data, asked));
  }

  // Taking a mark off the photo so that the next tap sets it: moving without dragging.
  placeAgain(id) {
    if (!id) return;
    this.remove(id);
    if (id.startsWith("point.")) this.active = `point.${this.placed.reference.length}`;
    else this.active = id;
    this.say(this.nextWords(this.active));
    this.lookOn();
    this.draw();
    this.comeIntoSight();
  }

  // Each mark large, one after the other, and at last the whole dog.
  lookFurther() {
    const ids = idsOf(this.placed, this.data).filter((id) => !id.startsWith("bend."));
    const next = ids[ids.indexOf(this.looking) + 1];
    if (next) this.lookAt(next);
    else {
      this.active = ids.at(-1) || null;
      this.byHand = false;
      this.lookOn();
    }
    this.draw();
    this.comeIntoSight();
  }

  setReference(points) {
    this.change({ ...this.placed, reference: points.map((p) => [...p]) }, SEND_AFTER_DRAG_MS);
    this.active = points.length ? "point.0" : nextToPlace(this.placed, this.data, null);
    if (points.length > 1) this.lookAtReference();
    else this.lookOn();
    this.draw();
    this.comeIntoSight();
  }
}
