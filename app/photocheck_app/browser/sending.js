// Says how far the sending of a photo has come: what Streamlit shows for it turns without an end.
// And has an owner's photo made as small as the check needs it (smaller.js) before it goes.
//
// Both happen where the browser itself sends: whatever way a photo was chosen, the page's own parts
// know nothing of it, and where they send otherwise one day, photos go as they are.

import { say, unsay } from "./sign.js";

const SHOWN_FROM_MS = 700; // what is sent at once needs no word
const UPLOADS = "/_stcore/upload_file/";
// Where a photo is not marked yet, and no list of marks comes with it: not at the desk.
const OWNERS = ".st-key-take_photo";
const ONWARD = ".st-key-next button";
const opened = XMLHttpRequest.prototype.open;
const sent = XMLHttpRequest.prototype.send;
const aborted = XMLHttpRequest.prototype.abort;
const underWay = new Map();
const begun = new Map(); // also what is not said yet
let asked = false; // somebody means to go on meanwhile

function tell() {
  const all = [...underWay.values()];
  if (!all.length) {
    asked = false;
    return unsay("sending");
  }
  const total = all.reduce((sum, one) => sum + one.total, 0);
  const loaded = all.reduce((sum, one) => sum + one.loaded, 0);
  const sign = say(asked ? "still" : "sending", "sending");
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

// The one photo that a request brings, where it may be made smaller.
function photoIn(body) {
  if (!(body instanceof FormData) || !document.querySelector(OWNERS)) return null;
  const all = [...body.entries()];
  const [name, file] = all[0] ?? [];
  return all.length === 1 && file instanceof File && file.type === "image/jpeg" ? { name, file } : null;
}

async function smaller({ name, file }, body) {
  try {
    const { madeSmaller } = await import("./smaller.js");
    const made = await madeSmaller(file);
    if (made === file) return body;
    const other = new FormData();
    other.append(name, made, name);
    return other;
  } catch {
    return body; // as when that script could not be had
  }
}

XMLHttpRequest.prototype.open = function (method, address, ...more) {
  this.photocheckSends = String(address).includes(UPLOADS) && String(method).toUpperCase() !== "DELETE";
  this.photocheckWaits = null;
  return opened.call(this, method, address, ...more);
};
XMLHttpRequest.prototype.abort = function () {
  this.photocheckWaits = null;
  return aborted.call(this);
};
XMLHttpRequest.prototype.send = function (body) {
  if (!this.photocheckSends) return sent.call(this, body);
  const one = { loaded: 0, total: 0 };
  begun.set(this, one);
  const timer = setTimeout(() => {
    underWay.set(this, one);
    tell();
  }, SHOWN_FROM_MS);
  const ended = () => {
    clearTimeout(timer);
    begun.delete(this);
    underWay.delete(this);
    tell();
  };
  this.upload.addEventListener("progress", (event) => {
    Object.assign(one, { loaded: event.loaded, total: event.total });
    if (underWay.has(this)) tell();
  });
  this.addEventListener("loadend", ended);
  const photo = photoIn(body);
  if (!photo) return sent.call(this, body);
  const waits = (this.photocheckWaits = {});
  smaller(photo, body).then((made) => {
    // Given up meanwhile, or begun for something else.
    if (this.photocheckWaits !== waits) return ended();
    this.photocheckWaits = null;
    return sent.call(this, made);
  });
  return undefined;
};

// The next screen has no place for a photo: what is on its way would be lost without a word.
addEventListener(
  "click",
  (event) => {
    if (!begun.size || !document.querySelector(OWNERS)) return;
    if (!(event.target instanceof Element) || !event.target.closest(ONWARD)) return;
    event.preventDefault();
    event.stopImmediatePropagation();
    asked = true;
    for (const [each, one] of begun) underWay.set(each, one);
    tell();
  },
  true,
);
