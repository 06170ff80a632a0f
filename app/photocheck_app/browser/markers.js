// Whether a picture shows the printed marker sheet, and whether tags: seen roughly, in a small copy.
//
// Nothing is measured here.  It only tells how exactly a photo has to be sent (smaller.js): what is
// not seen for sure counts as not there.

// The 16 cells inside the black border of each marker (OpenCV's DICT_4X4_50), row by row, white 1:
// the sheet's four clockwise from its top left, and those of the tags.
export const SHEET = [0xfeda, 0x11a7, 0x4415, 0x263e];
export const TAGS = [0x0f9a, 0x549e, 0xc4f2, 0xcf56, 0x79cd, 0x24b1, 0x9ecf, 0x08ae];

const MODULES = 6; // cells along a side, border included
const WINDOW = 1 / 24; // of the width: how far round a pixel its surroundings go
const DARK = 0.7; // of what surrounds it
const LEAST_SIDE = 14; // px of a marker in the copy
const MOST_SHARE = 0.3; // of the picture's height
const LEAST_CONTRAST = 40; // codes between paper and print

// Where a picture is much darker than what surrounds it, (width * height) of 0 and 1.
function darkPlaces(grey, width, height) {
  const sums = new Float64Array((width + 1) * (height + 1));
  for (let y = 0; y < height; y += 1) {
    let row = 0;
    for (let x = 0; x < width; x += 1) {
      row += grey[y * width + x];
      sums[(y + 1) * (width + 1) + x + 1] = sums[y * (width + 1) + x + 1] + row;
    }
  }
  const reach = Math.max(8, Math.round(width * WINDOW));
  const dark = new Uint8Array(width * height);
  for (let y = 0; y < height; y += 1) {
    const top = Math.max(0, y - reach) * (width + 1);
    const bottom = Math.min(height, y + reach + 1);
    const rows = bottom - Math.max(0, y - reach);
    for (let x = 0; x < width; x += 1) {
      const left = Math.max(0, x - reach);
      const right = Math.min(width, x + reach + 1);
      const end = bottom * (width + 1);
      const sum = sums[end + right] - sums[end + left] - sums[top + right] + sums[top + left];
      if (grey[y * width + x] * rows * (right - left) < DARK * sum) dark[y * width + x] = 1;
    }
  }
  return dark;
}

// The outermost pixels, row by row, of each dark patch that may be a marker's black square.
function* patches(dark, width, height) {
  const stack = new Int32Array(width * height);
  for (let start = 0; start < dark.length; start += 1) {
    if (dark[start] !== 1) continue;
    let held = 1;
    let count = 0;
    let [left, right, top, bottom] = [width, -1, height, -1];
    const ends = new Map();
    stack[0] = start;
    dark[start] = 2;
    while (held) {
      held -= 1;
      const at = stack[held];
      const x = at % width;
      const y = (at - x) / width;
      count += 1;
      left = Math.min(left, x);
      right = Math.max(right, x);
      top = Math.min(top, y);
      bottom = Math.max(bottom, y);
      const row = ends.get(y);
      if (!row) ends.set(y, [x, x]);
      else if (x < row[0]) row[0] = x;
      else if (x > row[1]) row[1] = x;
      for (const [next, inside] of [
        [at - 1, x > 0],
        [at + 1, x < width - 1],
        [at - width, y > 0],
        [at + width, y < height - 1],
      ]) {
        if (inside && dark[next] === 1) {
          dark[next] = 2;
          stack[held] = next;
          held += 1;
        }
      }
    }
    const [wide, high] = [right - left + 1, bottom - top + 1];
    if (Math.min(wide, high) < LEAST_SIDE || Math.max(wide, high) > MOST_SHARE * height) continue;
    if (wide > 3 * high || high > 3 * wide || count < 0.25 * wide * high) continue;
    yield [...ends].flatMap(([y, [first, last]]) => [[first - 0.5, y], [last + 0.5, y]]);
  }
}

const farthest = (points, how) => points.reduce((best, one) => (how(one) > how(best) ? one : best));

// The corners of a four-sided shape by its outermost points, clockwise; null where it has none.
function cornersOf(points) {
  const middle = [0, 1].map((k) => points.reduce((sum, one) => sum + one[k], 0) / points.length);
  const apart = (a, b) => (a[0] - b[0]) ** 2 + (a[1] - b[1]) ** 2;
  const first = farthest(points, (one) => apart(one, middle));
  const third = farthest(points, (one) => apart(one, first));
  const side = (one) =>
    (third[0] - first[0]) * (one[1] - first[1]) - (third[1] - first[1]) * (one[0] - first[0]);
  const second = farthest(points, (one) => -side(one));
  const fourth = farthest(points, side);
  const long = Math.sqrt(apart(first, third));
  if (-side(second) < 0.3 * long ** 2 || side(fourth) < 0.3 * long ** 2) return null;
  return [first, second, third, fourth];
}

// Where a place of the unit square lies in a four-sided shape, seen in perspective (P. Heckbert,
// Fundamentals of Texture Mapping and Image Warping, 1989, 2.2.3).
function into([[x0, y0], [x1, y1], [x2, y2], [x3, y3]]) {
  const [dx1, dx2, dx3] = [x1 - x2, x3 - x2, x0 - x1 + x2 - x3];
  const [dy1, dy2, dy3] = [y1 - y2, y3 - y2, y0 - y1 + y2 - y3];
  const all = dx1 * dy2 - dx2 * dy1;
  const g = (dx3 * dy2 - dx2 * dy3) / all;
  const h = (dx1 * dy3 - dx3 * dy1) / all;
  return (u, v) => {
    const deep = g * u + h * v + 1;
    return [
      ((x1 - x0 + g * x1) * u + (x3 - x0 + h * x3) * v + x0) / deep,
      ((y1 - y0 + g * y1) * u + (y3 - y0 + h * y3) * v + y0) / deep,
    ];
  };
}

// The 16 cells of what may be a marker, as it lies; -1 where it is none.
function cellsOf(grey, width, height, corners) {
  const place = into(corners);
  const light = (column, row) => {
    let sum = 0;
    for (const [du, dv] of [[0, 0], [-0.2, -0.2], [0.2, -0.2], [-0.2, 0.2], [0.2, 0.2]]) {
      const [x, y] = place((column + 0.5 + du) / MODULES, (row + 0.5 + dv) / MODULES).map(Math.round);
      if (!(x >= 0 && y >= 0 && x < width && y < height)) return NaN;
      sum += grey[y * width + x];
    }
    return sum / 5;
  };
  const border = [];
  const paper = [];
  for (let k = 0; k < MODULES; k += 1) {
    border.push(light(k, 0), light(k, MODULES - 1), light(0, k), light(MODULES - 1, k));
    paper.push(light(k, -1), light(k, MODULES), light(-1, k), light(MODULES, k));
  }
  const darkest = Math.max(...border);
  const lightest = Math.min(...paper);
  if (!(lightest - darkest > LEAST_CONTRAST)) return -1;
  const between = (darkest + lightest) / 2;
  let cells = 0;
  for (let row = 1; row <= 4; row += 1) {
    for (let column = 1; column <= 4; column += 1) {
      cells = cells * 2 + (light(column, row) > between ? 1 : 0);
    }
  }
  return cells;
}

function turned(cells) {
  let other = 0;
  for (let row = 0; row < 4; row += 1) {
    for (let column = 0; column < 4; column += 1) {
      // a quarter clockwise: what stood in the column, from below, is the row
      const bit = (cells >> (15 - (4 * (3 - column) + row))) & 1;
      other = other * 2 + bit;
    }
  }
  return other;
}

// Which of the sheet's markers it is, from 0; 4 for a tag; -1 for neither.
function known(cells) {
  let each = cells;
  for (let turn = 0; turn < 4; turn += 1) {
    const place = SHEET.indexOf(each);
    if (place >= 0) return place;
    if (TAGS.includes(each)) return 4;
    each = turned(each);
  }
  return -1;
}

// All four of the sheet, each once and lying as they are printed, without any tag beside it.
//
// grey: width * height values from 0 to 255.  Gives how long a marker's side is, px, and 0 where it
// is not so.
export function sheetIn(grey, width, height) {
  const middles = new Map();
  let least = Infinity;
  for (const points of patches(darkPlaces(grey, width, height), width, height)) {
    const corners = cornersOf(points);
    const cells = corners ? cellsOf(grey, width, height, corners) : -1;
    const place = cells < 0 ? -1 : known(cells);
    if (place === 4 || middles.has(place)) return 0;
    if (place < 0) continue;
    middles.set(place, into(corners)(0.5, 0.5));
    corners.forEach(([x, y], k) => {
      const [nextX, nextY] = corners[(k + 1) % 4];
      least = Math.min(least, Math.hypot(nextX - x, nextY - y));
    });
  }
  if (middles.size !== 4) return 0;
  const ring = [0, 1, 2, 3].map((place) => middles.get(place));
  const clockwise = ring.every(([x, y], k) => {
    const [next, after] = [ring[(k + 1) % 4], ring[(k + 2) % 4]];
    return (next[0] - x) * (after[1] - next[1]) - (next[1] - y) * (after[0] - next[0]) > 0;
  });
  return clockwise ? least : 0;
}
