// Says how far the sending of a photo has come: what Streamlit shows for it turns without an end.
// And has an owner's photo made as small as the check needs it (smaller.js) before it goes.
//
// Both happen where the browser itself sends: whatever way a photo was chosen, the page's own parts
// know nothing of it, and where they send otherwise one day, photos go as they are.  What is sent is
// kept meanwhile (unsent.js), and what a reload broke off is put into the page's own field again.

import { say, texts, unsay } from "./sign.js";
import { forget, keep, watch } from "./unsent.js";

const SHOWN_FROM_MS = 700; // what is sent at once needs no word
const UPLOADS = "/_stcore/upload_file/";
// Where a photo is not marked yet, and no list of marks comes with it: not at the desk.
const OWNERS = ".st-key-take_photo";
const ONWARD = ".st-key-next button";
const FIELD_MS = 200; // between looks for a field that is not there yet, or cannot be used
const FIELD_TRIES = 50;
const opened = XMLHttpRequest.prototype.open;
const sent = XMLHttpRequest.prototype.send;
const aborted = XMLHttpRequest.prototype.abort;
const underWay = new Map();
const begun = new Map(); // also what is not said yet
const broken = []; // what was on its way when the page was loaded again, until it is sent anew
let asked = false; // somebody means to go on meanwhile

function tell() {
  const all = [...underWay.values()];
  if (!all.length) {
    asked = false;
    return unsay("sending");
  }
  const total = all.reduce((sum, one) => sum + one.total, 0);
  const loaded = all.reduce((sum, one) => sum + one.loaded, 0);
  const again = all.some((one) => one.again);
  const sign = say(asked ? "still" : again ? "again" : "sending", "sending");
  if (!sign) return undefined;
  if (again && !asked && !sign.querySelector("button")) offerNo(sign);
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

// A way to say no to what is sent by itself.
function offerNo(sign) {
  const no = document.createElement("button");
  no.type = "button";
  no.textContent = texts().not_again;
  no.onclick = () => {
    for (const [each, one] of [...begun]) if (one.again) giveUp(each, one);
    tell();
  };
  sign.append(no);
}

function giveUp(request, one) {
  forget(one.id);
  // As somebody would who takes it out of the field; the field knows best how.
  const rows = [...document.querySelectorAll(`${OWNERS} [data-testid="stFileChip"]`)];
  const row = rows.find((each) => each.textContent.includes(one.name));
  const out = row?.querySelector("button");
  if (out) out.click();
  else request.abort();
  begun.delete(request);
  underWay.delete(request);
}

// The one file that a request of an owner's brings.
function fileIn(body) {
  if (!(body instanceof FormData) || !document.querySelector(OWNERS)) return null;
  const all = [...body.entries()];
  const [name, file] = all[0] ?? [];
  return all.length === 1 && file instanceof File ? { name, file } : null;
}

async function smaller({ name, file }, body, id) {
  try {
    const { madeSmaller } = await import("./smaller.js");
    const made = await madeSmaller(file);
    if (made === file) return body;
    keep(id, made);
    const other = new FormData();
    other.append(name, made, name);
    return other;
  } catch {
    return body; // as when that script could not be had
  }
}

XMLHttpRequest.prototype.open = function (method, address, ...more) {
  const upload = String(address).includes(UPLOADS);
  const taken = String(method).toUpperCase() === "DELETE";
  this.photocheckSends = upload && !taken;
  this.photocheckWaits = null;
  this.photocheckId = upload ? String(address).split("/").pop() : "";
  if (upload && taken) forget(this.photocheckId); // taken out of the field
  return opened.call(this, method, address, ...more);
};
XMLHttpRequest.prototype.abort = function () {
  this.photocheckWaits = null;
  if (this.photocheckSends) forget(this.photocheckId);
  return aborted.call(this);
};
XMLHttpRequest.prototype.send = function (body) {
  if (!this.photocheckSends) return sent.call(this, body);
  const given = fileIn(body);
  const before = broken.findIndex(
    (each) => each.name === given?.file.name && each.file.size === given.file.size,
  );
  const [last] = before >= 0 ? broken.splice(before, 1) : [];
  const id = this.photocheckId;
  const one = { loaded: 0, total: 0, id, name: given?.file.name ?? "", again: Boolean(last) };
  begun.set(this, one);
  if (given) keep(id, given.file, last?.id);
  const timer = setTimeout(
    () => {
      underWay.set(this, one);
      tell();
    },
    last ? 0 : SHOWN_FROM_MS,
  );
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
  this.addEventListener("load", () => {
    if (this.status >= 400 && this.status < 500) forget(id); // an answer, and no other would come
  });
  if (given?.file.type !== "image/jpeg") return sent.call(this, body);
  const waits = (this.photocheckWaits = {});
  smaller(given, body, id).then((made) => {
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

// What the last page did not send to its end goes the way that a choice by hand goes.
watch((photos) => {
  const put = (left) => {
    const field = document.querySelector(`${OWNERS} input[type=file]:not(:disabled)`);
    if (!field) return left ? setTimeout(put, FIELD_MS, left - 1) : undefined;
    const files = new DataTransfer();
    for (const one of photos) {
      files.items.add(new File([one.file], one.name, { type: one.file.type }));
      broken.push(one);
    }
    field.files = files.files;
    field.dispatchEvent(new Event("change", { bubbles: true }));
    return undefined;
  };
  put(FIELD_TRIES);
});
