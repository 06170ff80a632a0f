// Which part of the photo is seen: a centre and a zoom over "the whole photo fits".

const MOST_CSS_PER_PX = 10;
const GLIDE_MS = 280;

class View {
  constructor(stage, svgs, size) {
    Object.assign(this, { stage, svgs, size, zoom: 1 });
    this.centre = [(size[0] - 1) / 2, (size[1] - 1) / 2];
  }

  // CSS px for one px of the photo.
  get scale() {
    return this.fit * this.zoom;
  }

  get fit() {
    const [width, height] = this.room;
    return Math.max(1e-6, Math.min(width / this.size[0], height / this.size[1]));
  }

  // The stage in CSS px, unrounded.
  get room() {
    const { width, height } = this.stage.getBoundingClientRect();
    return [width, height];
  }

  get zoomed() {
    return this.zoom > 1.001;
  }

  apply() {
    const most = Math.max(1, MOST_CSS_PER_PX / this.fit);
    this.zoom = Math.min(Math.max(this.zoom, 1), most);
    const seen = this.room.map((side) => side / this.scale);
    this.centre = this.centre.map((c, i) => {
      // Pixels reach half a pixel beyond their centres.
      const [low, high] = [-0.5 + seen[i] / 2, this.size[i] - 0.5 - seen[i] / 2];
      return low > high ? (this.size[i] - 1) / 2 : Math.min(Math.max(c, low), high);
    });
    this.box = [this.centre[0] - seen[0] / 2, this.centre[1] - seen[1] / 2, seen[0], seen[1]];
    for (const svg of this.svgs) svg.setAttribute("viewBox", this.box.join(" "));
  }

  // The photo's point under a place on the screen.
  toPhoto(clientX, clientY) {
    const at = new DOMPoint(clientX, clientY).matrixTransform(
      this.svgs[0].getScreenCTM().inverse(),
    );
    return [at.x, at.y];
  }

  // CSS px from the stage's top left corner.
  toStage(xy) {
    return [(xy[0] - this.box[0]) * this.scale, (xy[1] - this.box[1]) * this.scale];
  }

  // Zoom so that the photo's point `anchor` stays where it is.
  zoomBy(factor, anchor = this.centre) {
    const before = this.zoom;
    const most = Math.max(1, MOST_CSS_PER_PX / this.fit);
    this.zoom = Math.min(Math.max(before * factor, 1), most);
    const share = before / this.zoom;
    this.centre = this.centre.map((c, i) => anchor[i] + (c - anchor[i]) * share);
    this.apply();
  }

  // Go where `span` px of the photo, across and down, fill the stage around `centre`.
  aim(centre, span, glide, drawn) {
    this.stop();
    const [width, height] = this.room;
    const most = Math.max(1, MOST_CSS_PER_PX / this.fit);
    const wanted = Math.min(width / span[0], height / span[1]) / this.fit;
    const to = { centre, zoom: Math.min(Math.max(wanted, 1), most) };
    if (!glide) {
      Object.assign(this, to);
      drawn();
      return;
    }
    const from = { centre: this.centre, zoom: this.zoom };
    const began = performance.now();
    const step = (now) => {
      const share = Math.min(Math.max((now - began) / GLIDE_MS, 0), 1);
      const eased = share * share * (3 - 2 * share);
      this.zoom = from.zoom * (to.zoom / from.zoom) ** eased;
      this.centre = from.centre.map((c, i) => c + (to.centre[i] - c) * eased);
      this.gliding = share < 1 ? requestAnimationFrame(step) : 0;
      drawn();
    };
    this.gliding = requestAnimationFrame(step);
    drawn();
  }

  // Stay where a glide has come to.
  stop() {
    cancelAnimationFrame(this.gliding || 0);
    this.gliding = 0;
  }

  panBy(dx, dy) {
    this.centre = [this.centre[0] - dx / this.scale, this.centre[1] - dy / this.scale];
    this.apply();
  }

  // Bring a point well into sight.
  show(xy) {
    const margin = 40 / this.scale;
    const [left, top, width, height] = this.box;
    const past = (v, low, high) => (v < low ? v - low : v > high ? v - high : 0);
    const dx = past(xy[0], left + margin, left + width - margin);
    const dy = past(xy[1], top + margin, top + height - margin);
    if (dx || dy) {
      this.centre = [this.centre[0] + dx, this.centre[1] + dy];
      this.apply();
    }
  }
}
