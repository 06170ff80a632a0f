// A phone's photo as small as the check needs it, made before it is sent.
//
// A photo in which the marker sheet is seen for sure (markers.js) is compressed more, with as many
// pixels as before: what is measured by the sheet stays the same to hundredths of a per cent; made of
// fewer pixels, one in four was judged otherwise (photocheck/benchmark/FIGURES.md, "The app, in a
// browser").  By a card or another small thing it would not stay the same, so that without the sheet,
// with tags beside it, and where anything is odd, the file goes as it is.  The camera's own block of
// data goes with it, unchanged: it tells the focal length, how the picture is turned, and how large
// it was.
//
// This file is both the page's part and, in a worker, what does the work.

import { sheetIn } from "./markers.js";

const WORTH_BYTES = 1.2e6; // what is smaller is sent soon enough
const MOST_PIXELS = 64e6; // more would take too much of a phone's memory
const QUALITY = 0.85;
const LEAST_MARKER = 40; // px of a marker's side
const LOOKED_AT = 1600; // px of the longer side of the copy that is looked at for the sheet
const PATIENCE_MS = 12_000;
const LEAST_GAIN = 0.8; // of the file's bytes: what saves less is not worth a second compression

const EXIF = 0x45786966;
const EXIF_FOLDER = 0x8769;
const PIXEL_X = 0xa002;

// What a JPEG file is made of: its block of camera data as it stands, width and height as stored, and
// the file without what would turn the picture or move its colours; null where it is none, or not as
// cameras write it.
export function partsOf(bytes) {
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  if (view.byteLength < 4 || view.getUint16(0) !== 0xffd8) return null;
  const kept = [bytes.subarray(0, 2)];
  let exif = null;
  let size = null;
  for (let at = 2; at + 9 < view.byteLength; ) {
    if (view.getUint8(at) !== 0xff) return null;
    const kind = view.getUint8(at + 1);
    const end = at + 2 + view.getUint16(at + 2);
    if (end < at + 4 || end > view.byteLength) return null;
    const isExif = kind === 0xe1 && view.getUint32(at + 4) === EXIF;
    if (isExif && exif) return null; // two of them: which counts?
    if (isExif) exif = bytes.slice(at, end);
    // Baseline, extended and progressive, of three colours; others are no camera's.
    if (kind === 0xc0 || kind === 0xc1 || kind === 0xc2) {
      if (size || view.getUint8(at + 9) !== 3) return null;
      size = [view.getUint16(at + 7), view.getUint16(at + 5)];
    }
    if (kind !== 0xe1 && kind !== 0xe2) kept.push(bytes.subarray(at, end));
    if (kind === 0xda) {
      kept.push(bytes.subarray(end));
      return size && size[0] && size[1] ? { exif, size, bare: kept } : null;
    }
    at = end;
  }
  return null;
}

// Whether a block of camera data says how large the camera's picture was, and can be read at all.
export function tellsSize(exif) {
  const view = new DataView(exif.buffer, exif.byteOffset, exif.byteLength);
  const base = 10; // marker, length, "Exif", two zeros
  const order = view.getUint16(base);
  if (order !== 0x4949 && order !== 0x4d4d) return false;
  const little = order === 0x4949;
  if (view.getUint16(base + 2, little) !== 42) return false;
  let sized = false;
  const folder = (at, nested) => {
    const count = view.getUint16(base + at, little);
    for (let k = 0; k < count; k += 1) {
      const entry = base + at + 2 + 12 * k;
      const tag = view.getUint16(entry, little);
      if (tag === PIXEL_X && nested) sized = true;
      else if (tag === EXIF_FOLDER && !nested) folder(view.getUint32(entry + 8, little), true);
    }
  };
  folder(view.getUint32(base + 4, little), false);
  return sized;
}

function drawn(bitmap, width, height) {
  const canvas = new OffscreenCanvas(width, height);
  const drawing = canvas.getContext("2d", { alpha: false });
  drawing.imageSmoothingEnabled = true;
  drawing.imageSmoothingQuality = "high";
  drawing.drawImage(bitmap, 0, 0, width, height);
  return [canvas, drawing];
}

// How long a side of the sheet's markers is, of the picture's longer side; 0 where it is not seen.
function sheetSeen(bitmap) {
  const by = Math.min(1, LOOKED_AT / Math.max(bitmap.width, bitmap.height));
  const [width, height] = [Math.round(by * bitmap.width), Math.round(by * bitmap.height)];
  const { data } = drawn(bitmap, width, height)[1].getImageData(0, 0, width, height);
  const grey = new Uint8Array(width * height);
  for (let k = 0; k < grey.length; k += 1) {
    grey[k] = (77 * data[4 * k] + 151 * data[4 * k + 1] + 28 * data[4 * k + 2]) >> 8;
  }
  return sheetIn(grey, width, height) / Math.max(width, height);
}

// The content to send in place of a file's; null where it goes as it is.
export async function smallerOf(file) {
  const bytes = new Uint8Array(await file.arrayBuffer());
  const parts = partsOf(bytes);
  if (!parts?.exif || !tellsSize(parts.exif)) return null;
  const [width, height] = parts.size;
  if (width * height > MOST_PIXELS) return null;
  const bitmap = await createImageBitmap(new Blob(parts.bare, { type: "image/jpeg" }));
  // A browser that does not show all of it as it is stored.
  if (bitmap.width !== width || bitmap.height !== height) return null;
  if (sheetSeen(bitmap) * Math.max(width, height) < LEAST_MARKER) return null;
  const [canvas] = drawn(bitmap, width, height);
  bitmap.close();
  const blob = await canvas.convertToBlob({ type: "image/jpeg", quality: QUALITY });
  const pixels = new Uint8Array(await blob.arrayBuffer());
  const written = partsOf(pixels);
  if (written?.size[0] !== width || written.size[1] !== height || written.exif) return null;
  const made = new Blob([pixels.subarray(0, 2), parts.exif, pixels.subarray(2)], {
    type: "image/jpeg",
  });
  return made.size < LEAST_GAIN * file.size ? made : null;
}

// -- the page's part --

// The file to send in place of another: the same one wherever anything fails or takes too long.
export function madeSmaller(file) {
  return new Promise((done) => {
    let worker = null;
    let timer = 0;
    const end = (made) => {
      clearTimeout(timer);
      worker?.terminate();
      done(made instanceof Blob ? new File([made], file.name, { type: "image/jpeg" }) : file);
    };
    if (file.size < WORTH_BYTES || typeof OffscreenCanvas === "undefined") return end(null);
    timer = setTimeout(end, PATIENCE_MS, null);
    try {
      worker = new Worker(import.meta.url, { type: "module" });
    } catch {
      return end(null);
    }
    worker.onmessage = (event) => end(event.data);
    worker.onerror = () => end(null);
    worker.onmessageerror = () => end(null);
    worker.postMessage(file);
    return undefined;
  });
}

if (typeof WorkerGlobalScope !== "undefined" && self instanceof WorkerGlobalScope) {
  addEventListener("message", async (event) => {
    let made = null;
    try {
      made = await smallerOf(event.data);
    } catch {
      // Then it goes as it is.
    }
    postMessage(made);
  });
}
