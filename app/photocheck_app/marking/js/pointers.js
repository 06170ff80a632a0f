// Fingers, pens and the mouse on the photo.

const DOUBLE_TAP_MS = 400;
const REACH = { touch: 24, pen: 20, mouse: 14 }; // CSS px around a mark that take hold of it
const SLIP = { touch: 7, pen: 4, mouse: 3, aim: 2 }; // CSS px a tap may slip
const ON_MARK = 8; // CSS px: a tap this near means the mark, further off the ground
const TETHER = 56; // CSS px a finger slides finely; further off it takes the point along

class Touched extends Changing {
  nearest(e, reach) {
    if (this.data.readOnly) return null;
    const at = this.view.toPhoto(e.clientX, e.clientY);
    let best = null;
    for (const id of idsOf(this.placed, this.data)) {
      const gap = distance(pointOf(this.placed, id), at) * this.view.scale;
      // The chosen one is taken first where several lie together.
      const rank = id === this.active ? gap / 2 : gap;
      if (gap <= reach && (!best || rank < best.rank)) best = { id, gap, rank };
    }
    return best;
  }

  // Whether a press so near a mark means the mark although another is asked for: the mark placed
  // last is put right by pressing anew.
  meant(near) {
    if (!near || !this.pending) return Boolean(near);
    const latest = near.id === this.latest && near.id.startsWith("mark.");
    return near.gap <= (latest ? 2 * ON_MARK : ON_MARK);
  }

  down(e) {
    if (e.button > 0) return;
    // A touch is followed by mouse events, which would move the focus to what was just placed.
    if (e.pointerType === "touch") e.preventDefault();
    this.pinchOn();
    this.pointers.set(e.pointerId, [e.clientX, e.clientY]);
    this.svg.setPointerCapture(e.pointerId);
    this.view.stop();
    if (this.pointers.size > 1) {
      this.letGo();
      this.press = null;
      this.drawSoon();
      return;
    }
    const near = this.nearest(e, REACH[e.pointerType] || REACH.mouse);
    const at = this.view.toPhoto(e.clientX, e.clientY);
    const from = [e.clientX, e.clientY];
    this.press = { near, at, from, last: from, before: this.placed };
    if (near) {
      const xy = pointOf(this.placed, near.id);
      this.press.offset = [xy[0] - at[0], xy[1] - at[1]];
    }
    if (e.pointerType !== "mouse") this.pressFinger();
    if (!near) this.holdProposed(e);
  }

  // A press on the hollow mark that is asked for takes hold of it: let go at once, it is confirmed.
  holdProposed(e) {
    const { asked, press } = this;
    const xy = asked && proposedAt(this.data, asked);
    if (!xy || distance(xy, press.at) * this.view.scale > (REACH[e.pointerType] || REACH.mouse)) return;
    const fine = e.pointerType === "mouse" ? this.view.scale : this.lensScale;
    Object.assign(press, { point: xy, aiming: true, fine, anchor: press.from, origin: xy });
    this.cross = null;
    this.showLens(() => press.point);
    this.drawSoon();
  }

  // A finger hides what lies under it: from its first moment the lens shows the point, and
  // sliding moves the point as far as the picture in the lens moves.
  pressFinger() {
    const { press } = this;
    if (this.meant(press.near)) press.point = pointOf(this.placed, press.near.id);
    else if (this.pending && !this.data.readOnly) {
      press.near = null;
      press.point = this.onPhoto(press.at);
      press.aiming = Boolean(press.point);
    }
    if (!press.point) return;
    this.cross = null;
    Object.assign(press, { fine: this.lensScale, anchor: press.from, origin: press.point });
    this.showLens(() => press.point);
    this.drawSoon();
  }

  // A little past the edge means the edge; far past it, the bars beside the photo.
  onPhoto(at) {
    const inside = within(at, this.data.size);
    return distance(inside, at) * this.view.scale <= SLIP.touch ? inside : null;
  }

  // Within its tether a finger moves the point finely; beyond, it takes both along.
  slide(press, now) {
    const off = [now[0] - press.anchor[0], now[1] - press.anchor[1]];
    const past = Math.max(0, 1 - TETHER / Math.max(Math.hypot(...off), TETHER));
    const pulled = off.map((v) => v * past);
    press.anchor = press.anchor.map((v, i) => v + pulled[i]);
    press.origin = within(press.origin.map((v, i) => v + pulled[i] / this.view.scale), this.data.size);
    const fine = now.map((v, i) => (v - press.anchor[i]) / press.fine);
    press.point = within(press.origin.map((v, i) => v + fine[i]), this.data.size);
  }

  move(e) {
    const before = this.pointers.get(e.pointerId);
    if (!before) return;
    const now = [e.clientX, e.clientY];
    if (this.pointers.size === 2) {
      this.pinched ||= [...this.pointers.values()];
      this.pointers.set(e.pointerId, now);
      this.drawSoon();
      return;
    }
    this.pointers.set(e.pointerId, now);
    const press = this.press;
    if (!press) return;
    const slip = press.aiming ? SLIP.aim : SLIP[e.pointerType] || SLIP.mouse;
    if (!press.moved && distance(press.from, now) < slip) return;
    if (!press.moved && press.near) {
      this.active = press.near.id;
      if (!press.point) this.showLens(() => pointOf(this.placed, press.near.id));
    }
    press.moved = true;
    if (press.point) this.slide(press, now);
    if (press.near) {
      const at = this.view.toPhoto(...now);
      const to = press.point || [at[0] + press.offset[0], at[1] + press.offset[1]];
      this.placed = withPoint(this.placed, press.near.id, within(to, this.data.size));
    } else if (!press.point && this.view.zoomed) {
      this.panned(now[0] - press.last[0], now[1] - press.last[1]);
    }
    press.last = now;
    this.drawSoon();
  }

  // Two fingers: what lay under each stays under it, as far as a zoom without turning can.  Both
  // together, once a drawing: the browser tells of one finger after the other, and two that slide
  // alike are far apart between the two tellings where it was slow to tell.
  pinchOn() {
    const before = this.pinched;
    if (!before) return;
    this.pinched = null;
    const now = [...this.pointers.values()];
    const middle = ([one, other]) => [(one[0] + other[0]) / 2, (one[1] + other[1]) / 2];
    const anchor = this.view.toPhoto(...middle(before));
    this.view.zoomBy(distance(...now) / Math.max(distance(...before), 1), anchor);
    const [, from] = this.view.centre;
    const down = middle(now)[1] - middle(before)[1];
    this.panned(middle(now)[0] - middle(before)[0], down);
    // What the photo cannot follow, the page does: one finger belongs to the marks.
    this.scrollPage((from - this.view.centre[1]) * this.view.scale - down);
    this.sharpenIfNeeded();
  }

  panned(dx, dy) {
    if (this.view.zoomed) this.byHand = true;
    this.view.panBy(dx, dy);
  }

  scrollPage(by, behavior = "instant") {
    let part = this.root.host || this.root;
    while (part && !(part.scrollHeight > part.clientHeight && /auto|scroll/.test(getComputedStyle(part).overflowY)))
      part = part.parentElement || part.getRootNode().host;
    (part || document.scrollingElement).scrollBy({ top: by, behavior });
  }

  up(e, cancelled) {
    this.pinchOn();
    if (!this.pointers.delete(e.pointerId)) return;
    const press = this.press;
    this.press = null;
    if (!press) return;
    this.press = press;
    this.letGo();
    this.press = null;
    if (press.aiming) {
      if (!cancelled) this.place(press.point);
    } else if (!press.moved && !cancelled) this.tap(e, press);
    this.draw();
  }

  // The end of a drag.
  letGo() {
    const press = this.press;
    if (press?.moved && press.near) {
      const now = this.placed;
      this.placed = press.before;
      press.moved = false;
      this.change(now, SEND_AFTER_DRAG_MS);
      press.moved = true;
      this.say(this.data.words.said_moved + this.where(this.panel.titleOf(press.near.id), pointOf(now, press.near.id)));
      this.overlay.byId.get(press.near.id)?.focus({ preventScroll: true });
    }
    this.hideLens();
  }

  tap(e, press) {
    this.cross = null;
    if (this.data.readOnly) return;
    if (this.meant(press.near)) {
      this.active = press.near.id;
      this.latest = null;
      this.overlay.byId.get(press.near.id).focus({ preventScroll: true });
    } else if (this.pending) {
      const at = this.onPhoto(press.at);
      if (at) this.place(at);
    } else this.tapGround(e, press.at);
  }

  // By a pointer: the view goes where the next one is likely.
  place(xy) {
    this.active = this.pending;
    this.placeAt(xy);
    this.lookOn();
    this.comeIntoSight();
  }

  // Twice on a line bends it there.
  tapGround(e, at) {
    const twice = this.lastTap && e.timeStamp - this.lastTap.time < DOUBLE_TAP_MS &&
      distance(at, this.lastTap.at) * this.view.scale < 16;
    this.lastTap = twice ? null : { time: e.timeStamp, at };
    if (!twice) return;
    let best = null;
    for (const [span, { ends }] of Object.entries(this.data.spans)) {
      const line = lineOf(this.placed, span, ends);
      const found = line && nearestOnLine(line, at);
      if (found && (!best || found.gap < best.found.gap)) best = { span, found };
    }
    const reach = REACH[e.pointerType] || REACH.mouse;
    if (best && best.found.gap * this.view.scale <= reach) this.addBend(best.span, { at, piece: best.found.piece });
  }

  wheel(e) {
    // The page scrolls over the photo until the photo is in use.
    const inUse = e.ctrlKey || e.metaKey || (this.view.zoomed && this.byHand) || this.svg.contains(this.root.activeElement);
    const shrinking = e.deltaY > 0 && !this.view.zoomed;
    if (!inUse || (shrinking && !e.ctrlKey)) return;
    e.preventDefault();
    const lines = e.deltaMode === 1 ? 16 : 1;
    this.byHand = true;
    this.view.zoomBy(Math.exp(-e.deltaY * lines * (e.ctrlKey ? 0.01 : 0.0018)), this.view.toPhoto(e.clientX, e.clientY));
    this.sharpenIfNeeded();
    this.drawSoon();
  }
}
