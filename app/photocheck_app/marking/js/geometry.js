// Plain geometry in px of the full photo; the centre of its top left pixel is (0, 0).

const distance = (a, b) => Math.hypot(a[0] - b[0], a[1] - b[1]);

const within = (xy, size) => [
  Math.min(Math.max(xy[0], 0), size[0] - 1),
  Math.min(Math.max(xy[1], 0), size[1] - 1),
];

// Nearest point of a line of points: {at, gap, piece}; piece is the index of its first end.
function nearestOnLine(line, xy) {
  let best = null;
  for (let piece = 0; piece + 1 < line.length; piece += 1) {
    const [a, b] = [line[piece], line[piece + 1]];
    const [dx, dy] = [b[0] - a[0], b[1] - a[1]];
    const long = dx * dx + dy * dy;
    const along = long ? ((xy[0] - a[0]) * dx + (xy[1] - a[1]) * dy) / long : 0;
    const share = Math.min(Math.max(along, 0), 1);
    const at = [a[0] + share * dx, a[1] + share * dy];
    const gap = distance(at, xy);
    if (!best || gap < best.gap) best = { at, gap, piece };
  }
  return best;
}

function middleOfLongest(line) {
  let piece = 0;
  for (let i = 1; i + 1 < line.length; i += 1)
    if (distance(line[i], line[i + 1]) > distance(line[piece], line[piece + 1])) piece = i;
  const [a, b] = [line[piece], line[piece + 1]];
  return { at: [(a[0] + b[0]) / 2, (a[1] + b[1]) / 2], piece };
}

// Four corners clockwise as seen, the one nearest the top left first.
function clockwise(corners) {
  const cx = corners.reduce((sum, p) => sum + p[0], 0) / corners.length;
  const cy = corners.reduce((sum, p) => sum + p[1], 0) / corners.length;
  const angle = (p) => Math.atan2(p[1] - cy, p[0] - cx); // grows clockwise, for y points down
  const round = [...corners].sort((a, b) => angle(a) - angle(b));
  const first = round.reduce((k, p, i) => (p[0] + p[1] < round[k][0] + round[k][1] ? i : k), 0);
  return [...round.slice(first), ...round.slice(0, first)];
}
