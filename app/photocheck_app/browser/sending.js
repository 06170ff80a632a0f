// Says how far the sending of a photo has come: what Streamlit shows for it turns without an end.
//
// The photo goes as it is.  Made smaller by the browser, to seven or twelve million pixels, a marker
// sheet's lengths moved by up to 0.14 %, a small card's by up to 0.9 % with up to a tenth more doubt.

import { say, unsay } from "./sign.js";

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
