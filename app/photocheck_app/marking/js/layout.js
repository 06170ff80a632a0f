// Where the next landmark is likely: a plain standing dog laid through the marks placed so far.
// It only moves the view; no mark ever comes from it.

// {height, at(name)} in px of the photo, or null while it cannot be told.  The dog stands
// upright, facing either way: two marks alone would give a slope that is mostly their error.
function laidThrough(layout, marks) {
  const names = Object.keys(marks).filter((name) => layout[name]);
  if (names.length < 2) return null;
  const mean = (points) => [0, 1].map((i) => points.reduce((sum, p) => sum + p[i], 0) / points.length);
  const own = names.map((name) => marks[name]);
  const there = mean(own);
  let best = null;
  for (const side of [1, -1]) {
    const turned = (name) => [side * layout[name][0], layout[name][1]];
    const from = mean(names.map(turned));
    let [with_, of] = [0, 0];
    names.forEach((name, i) => {
      const q = turned(name).map((v, axis) => v - from[axis]);
      with_ += (own[i][0] - there[0]) * q[0] + (own[i][1] - there[1]) * q[1];
      of += q[0] ** 2 + q[1] ** 2;
    });
    const height = with_ / of;
    if (height > (best?.height || 1e-6))
      best = { height, at: (name) => turned(name).map((v, axis) => there[axis] + height * (v - from[axis])) };
  }
  return best;
}

// The middle and size of what encloses the points.
function enclosing(points) {
  const across = [0, 1].map((i) => points.map((p) => p[i]));
  const [low, high] = [across.map((c) => Math.min(...c)), across.map((c) => Math.max(...c))];
  return { centre: [(low[0] + high[0]) / 2, (low[1] + high[1]) / 2], size: [high[0] - low[0], high[1] - low[1]] };
}
