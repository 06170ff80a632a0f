// Fingers, pens and the mouse on the photo.

const DOUBLE_TAP_MS = 400;
const REACH = { touch: 24, pen: 20, mouse: 14 }; // CSS px around a mark that take hold of it
const SLIP = { touch: 7, pen: 4, mouse: 3 }; // CSS px a tap may slip
const ON_MARK = 8; // CSS px: a tap this near means the mark, further off the ground

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

  down(e) {
    if (e.button > 0) return;
    // A touch is followed by mouse events, which would move the focus to what was just placed.
    if (e.pointerType === "touch") e.preventDefault();
    this.pointers.set(e.pointerId, [e.clientX, e.clientY]);
    this.svg.setPointerCapture(e.pointerId);
    if (this.pointers.size > 1) {
      this.letGo();
      this.press = null;
      return;
    }
    const near = this.nearest(e, REACH[e.pointerType] || REACH.mouse);
    const at = this.view.toPhoto(e.clientX, e.clientY);
    this.press = { near, at, from: [e.clientX, e.clientY], last: [e.clientX, e.clientY], before: this.placed };
    if (near) {
      const xy = pointOf(this.placed, near.id);
      this.press.offset = [xy[0] - at[0], xy[1] - at[1]];
    }
  }

  move(e) {
    const before = this.pointers.get(e.pointerId);
    if (!before) return;
    const now = [e.clientX, e.clientY];
    if (this.pointers.size === 2) {
      this.pinch(e.pointerId, before, now);
      return;
    }
    this.pointers.set(e.pointerId, now);
    const press = this.press;
    if (!press) return;
    if (!press.moved && distance(press.from, now) < (SLIP[e.pointerType] || SLIP.mouse)) return;
    if (!press.moved && press.near) {
      this.active = press.near.id;
      this.showLens(() => pointOf(this.placed, press.near.id));
    }
    press.moved = true;
    if (press.near) {
      const at = this.view.toPhoto(...now);
      const to = [at[0] + press.offset[0], at[1] + press.offset[1]];
      this.placed = withPoint(this.placed, press.near.id, within(to, this.data.size));
    } else if (this.view.zoomed) {
      this.view.panBy(now[0] - press.last[0], now[1] - press.last[1]);
    }
    press.last = now;
    this.drawSoon();
  }

  // Two fingers: what lay under each stays under it, as far as a zoom without turning can.
  pinch(id, before, now) {
    const [, other] = [...this.pointers].find(([key]) => key !== id);
    const middle = (p) => [(p[0] + other[0]) / 2, (p[1] + other[1]) / 2];
    const anchor = this.view.toPhoto(...middle(before));
    this.view.zoomBy(distance(now, other) / Math.max(distance(before, other), 1), anchor);
    this.view.panBy(middle(now)[0] - middle(before)[0], middle(now)[1] - middle(before)[1]);
    this.pointers.set(id, now);
    this.sharpenIfNeeded();
    this.drawSoon();
  }

  up(e, cancelled) {
    if (!this.pointers.delete(e.pointerId)) return;
    const press = this.press;
    this.press = null;
    if (!press) return;
    this.press = press;
    this.letGo();
    this.press = null;
    if (!press.moved && !cancelled) this.tap(e, press);
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
    const pending = this.active && !pointOf(this.placed, this.active);
    if (press.near && (!pending || press.near.gap <= ON_MARK)) {
      this.active = press.near.id;
      this.overlay.byId.get(press.near.id).focus({ preventScroll: true });
    } else if (pending) {
      // A little past the edge means the edge; far past it, the bars beside the photo.
      const inside = within(press.at, this.data.size);
      if (distance(inside, press.at) * this.view.scale <= SLIP.touch) this.placeAt(inside);
    } else this.tapGround(e, press.at);
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
    const inUse = e.ctrlKey || e.metaKey || this.view.zoomed || this.svg.contains(this.root.activeElement);
    const shrinking = e.deltaY > 0 && !this.view.zoomed;
    if (!inUse || (shrinking && !e.ctrlKey)) return;
    e.preventDefault();
    const lines = e.deltaMode === 1 ? 16 : 1;
    this.view.zoomBy(Math.exp(-e.deltaY * lines * (e.ctrlKey ? 0.01 : 0.0018)), this.view.toPhoto(e.clientX, e.clientY));
    this.sharpenIfNeeded();
    this.drawSoon();
  }
}
