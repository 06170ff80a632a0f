// Says when the server cannot be reached, and when it can again.  Streamlit says it in English, over
// the whole page, and while nothing is sent not at all.  And shows a page once all of it stands.

import { say, unsay } from "./sign.js";

const APP = "data-test-connection-state";
const PATIENCE_MS = 1500; // a moment without connection is nobody's business
const BACK_MS = 4000; // how long the good news stands
const RUN = "data-test-script-state";
const STILL_MS = 60; // so long nothing more has come of the first run
const PIECES_MS = 1000; // waited for the programs of single pieces, which may come over a slow line

let were = false; // connected, ever
let away = false; // and said so
let timer = 0;

let stood = 0; // when the first run had ended
let still = 0;

function stands() {
  const main = document.querySelector('[data-testid="stMain"]');
  const ended = document.querySelector(`[${RUN}="notRunning"]`);
  if (!ended || !main?.querySelector(":is(h1, h2, h3, p)")) return;
  stood ||= performance.now();
  clearTimeout(still);
  const late = performance.now() - stood > PIECES_MS;
  if (!late && main.querySelector('[data-testid="stSkeleton"]')) {
    still = setTimeout(stands, PIECES_MS);
    return;
  }
  still = setTimeout(() => {
    document.documentElement.classList.add("pc-there");
    document.querySelector(".pc-wait")?.remove();
  }, late ? 0 : STILL_MS);
}

function look() {
  if (document.querySelector(".pc-wait")) stands();
  const app = document.querySelector(`[${APP}]`);
  const there = app?.getAttribute(APP) === "CONNECTED" && navigator.onLine;
  if (there) {
    were = true;
    clearTimeout(timer);
    timer = 0;
    if (away) {
      away = false;
      document.documentElement.classList.remove("pc-is-away");
      say("back");
      setTimeout(() => unsay("back"), BACK_MS);
    }
  } else if (were && !away && !timer) {
    document.documentElement.classList.add("pc-is-away");
    timer = setTimeout(() => {
      away = true;
      say("away");
    }, PATIENCE_MS);
  }
}

new MutationObserver(look).observe(document.documentElement, {
  subtree: true,
  childList: true,
  attributes: true,
  attributeFilter: [APP, RUN],
});
addEventListener("online", look);
addEventListener("offline", look);

const shown = () => document.documentElement.classList.add("pc-icons");
document.fonts.load('24px "Material Symbols Rounded"', "pets").then((faces) => {
  if (faces.length) shown();
  // The style that names them may come later than this script.
  else addEventListener("load", () => document.fonts.load('24px "Material Symbols Rounded"', "pets").then(shown, shown));
}, shown);
