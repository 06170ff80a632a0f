// Makes a phone's photo smaller before it is sent, and says how far sending has come.
//
// The check reads lengths from these pixels, so that nothing is done that it could not tell from the
// camera's own picture: evenly smaller, to sides as cameras have them, never below what tells a whole
// photo from a cut one (photocheck/photo/whole.py), with the file's own camera data.  Whatever is
// odd in any way is sent as it is.

import { say, unsay } from "./sign.js";

const LEAST_PIXELS = 11.9e6; // what most phones save: of less, a small card is measured worse
const WORTH_BYTES = 1.2e6; // what is smaller is sent soon enough
const WORTH_PIXELS = 16e6; // fewer become hardly smaller
const QUALITY = 0.93;
const DONE = Symbol("made smaller");

const ORIENTATION = 0x0112;
const EXIF_FOLDER = 0x8769;
const PIXEL_X = 0xa002;

// The parts of a JPEG before its pixels: the EXIF block as it is, and the size as stored; null where
// it is none, or not as cameras write it.
export function partsOf(bytes) {
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  if (view.byteLength < 4 || view.getUint16(0) !== 0xffd8) return null;
  let exif = null;
  for (let at = 2; at + 9 < view.byteLength; ) {
    if (view.getUint8(at) !== 0xff) return null;
    const kind = view.getUint8(at + 1);
    const length = view.getUint16(at + 2);
    if (length < 2 || at + 2 + length > view.byteLength) return null;
    const isExif = kind === 0xe1 && view.getUint32(at + 4) === 0x45786966; // "Exif"
    if (isExif && exif) return null; // two of them: which counts?
    if (isExif) exif = bytes.slice(at, at + 2 + length);
    // Baseline, extended and progressive; others no browser of ours decodes.
    if (kind === 0xc0 || kind === 0xc1 || kind === 0xc2) {
      return { exif, height: view.getUint16(at + 5), width: view.getUint16(at + 7) };
    }
    if (kind === 0xda || kind === 0xd9) return null;
    at += 2 + length;
  }
  return null;
}

// The block with the picture upright: its orientation, and whether it says how large the camera's
// picture was.  Null where it cannot be read.
export function upright(exif) {
  const block = exif.slice();
  const view = new DataView(block.buffer);
  const base = 10; // marker, length, "Exif", two zeros
  const order = view.getUint16(base);
  if (order !== 0x4949 && order !== 0x4d4d) return null;
  const little = order === 0x4949;
  if (view.getUint16(base + 2, little) !== 42) return null;
  let orientation = 1;
  let sized = false;
  const folder = (at, nested) => {
    const count = view.getUint16(base + at, little);
    for (let k = 0; k < count; k += 1) {
      const entry = base + at + 2 + 12 * k;
      const tag = view.getUint16(entry, little);
      if (tag === ORIENTATION && !nested) {
        orientation = view.getUint16(entry + 8, little);
        view.setUint16(entry + 8, 1, little);
      } else if (tag === PIXEL_X && nested) sized = true;
      else if (tag === EXIF_FOLDER && !nested) folder(view.getUint32(entry + 8, little), true);
    }
  };
  folder(view.getUint32(base + 4, little), false);
  return { block, orientation, sized };
}

// Width and height to make it: evenly smaller, as cameras have them; null where that is no use.
export function smaller(width, height) {
  const long = Math.max(width, height);
  const short = Math.min(width, height);
  // What may have been cut must not come out as what cameras write.
  if (long % 8 || short % 2 || long * short < WORTH_PIXELS) return null;
  const least = Math.ceil(Math.sqrt((LEAST_PIXELS * long) / short) / 8) * 8;
  for (let side = least; side < 0.9 * long; side += 8) {
    const other = (side * short) / long;
    // Exactly even, so that every length in the picture is the same part of what it was.
    if (other === Math.round(other) && other % 2 === 0) {
      return width >= height ? [side, other] : [other, side];
    }
  }
  return null;
}

function shown(file) {
  return new Promise((done, failed) => {
    const image = new Image();
    const address = URL.createObjectURL(file);
    const end = (act, what) => {
      URL.revokeObjectURL(address);
      act(what);
    };
    image.onload = () => image.decode().then(() => end(done, image), (error) => end(failed, error));
    image.onerror = () => end(failed, new Error("not shown"));
    image.src = address;
  });
}

const encoded = (canvas) => new Promise((done) => canvas.toBlob(done, "image/jpeg", QUALITY));

// The file to send in place of another; the same one where it stays as it is.
export async function madeSmaller(file) {
  if (file.type !== "image/jpeg" || file.size < WORTH_BYTES) return file;
  const parts = partsOf(new Uint8Array(await file.arrayBuffer()));
  if (!parts) return file;
  const told = parts.exif ? upright(parts.exif) : { block: null, orientation: 1, sized: true };
  if (!told?.sized || !(told.orientation >= 1 && told.orientation <= 8)) return file;
  const image = await shown(file);
  const [width, height] =
    told.orientation > 4 ? [parts.height, parts.width] : [parts.width, parts.height];
  // A browser that does not turn it as the file says, or does not show all of it.
  if (image.naturalWidth !== width || image.naturalHeight !== height) return file;
  const size = smaller(width, height);
  if (!size) return file;
  const canvas = document.createElement("canvas");
  [canvas.width, canvas.height] = size;
  const drawing = canvas.getContext("2d", { alpha: false });
  drawing.imageSmoothingEnabled = true;
  drawing.imageSmoothingQuality = "high";
  drawing.drawImage(image, 0, 0, size[0], size[1]);
  const blob = await encoded(canvas);
  canvas.width = canvas.height = 0; // phones give few canvases
  if (!blob || blob.type !== "image/jpeg") return file;
  const pixels = new Uint8Array(await blob.arrayBuffer());
  const written = partsOf(pixels);
  if (written?.width !== size[0] || written.height !== size[1] || written.exif) return file;
  const made = [pixels.subarray(0, 2), ...(told.block ? [told.block] : []), pixels.subarray(2)];
  const content = new File(made, file.name, { type: file.type, lastModified: file.lastModified });
  return content.size < 0.8 * file.size ? content : file;
}

async function allOf(files) {
  const made = [];
  for (const file of files) {
    try {
      made.push(await madeSmaller(file));
    } catch {
      made.push(file);
    }
  }
  return made;
}

function taken(event) {
  const field = event.target;
  if (!(field instanceof HTMLInputElement) || field.type !== "file" || event[DONE]) return;
  if (!field.closest('[data-testid="stFileUploader"]')) return;
  const given = [...(field.files ?? [])];
  if (!given.some((file) => file.type === "image/jpeg" && file.size >= WORTH_BYTES)) return;
  event.stopImmediatePropagation();
  say("preparing", "sending");
  allOf(given).then((made) => {
    unsay("sending");
    try {
      const held = new DataTransfer();
      for (const file of made) held.items.add(file);
      field.files = held.files;
    } catch {
      // Then the field still holds what was chosen.
    }
    const again = new Event("change", { bubbles: true });
    again[DONE] = true;
    field.dispatchEvent(again);
  });
}

addEventListener("change", taken, true);

// -- how far sending has come --

const SHOWN_FROM_MS = 700; // what is sent at once needs no word
const UPLOADS = "/_stcore/upload_file/";
const opened = XMLHttpRequest.prototype.open;
const sent = XMLHttpRequest.prototype.send;
const underWay = new Map();

function tell() {
  const all = [...underWay.values()];
  if (!all.length) return unsay("sending");
  const total = all.reduce((sum, one) => sum + one.total, 0);
  const loaded = all.reduce((sum, one) => sum + one.loaded, 0);
  const sign = say("sending");
  if (!sign) return undefined;
  let bar = sign.querySelector("progress");
  if (!bar) {
    bar = document.createElement("progress");
    bar.setAttribute("aria-hidden", "true");
    sign.append(bar);
  }
  if (total) {
    bar.max = total;
    bar.value = loaded;
  }
  return undefined;
}

XMLHttpRequest.prototype.open = function (method, address, ...more) {
  this.photocheckSends = String(address).includes(UPLOADS) && String(method).toUpperCase() !== "DELETE";
  return opened.call(this, method, address, ...more);
};
XMLHttpRequest.prototype.send = function (...body) {
  if (this.photocheckSends) {
    const one = { loaded: 0, total: 0 };
    const timer = setTimeout(() => {
      underWay.set(this, one);
      tell();
    }, SHOWN_FROM_MS);
    this.upload.addEventListener("progress", (event) => {
      Object.assign(one, { loaded: event.loaded, total: event.total });
      if (underWay.has(this)) tell();
    });
    this.addEventListener("loadend", () => {
      clearTimeout(timer);
      underWay.delete(this);
      tell();
    });
  }
  return sent.call(this, ...body);
};
