// Says when the server cannot be reached, and when it can again.  Streamlit says it in English, over
// the whole page, and while nothing is sent not at all.

const APP = "data-test-connection-state";
const PATIENCE_MS = 1500; // a moment without connection is nobody's business
const BACK_MS = 4000; // how long the good news stands

export function say(name, state = name) {
  let told = {};
  try {
    const texts = JSON.parse(document.getElementById("photocheck-texts").textContent);
    const asked = new URLSearchParams(location.search).get("language");
    told = texts[asked] ?? texts[document.documentElement.lang] ?? {};
  } catch {
    return null; // a page that is not ours
  }
  let sign = document.querySelector(".pc-away");
  if (!sign) {
    sign = document.createElement("p");
    sign.className = "pc-away";
    sign.setAttribute("role", "status");
    // Streamlit's dialogs hide all else from readers of the page, but not what says this.
    sign.dataset.reactAriaTopLayer = "true";
    document.body.append(sign);
  }
  sign.dataset.state = state;
  if (sign.dataset.said !== told[name]) sign.textContent = sign.dataset.said = told[name];
  return sign;
}

export function unsay(state) {
  const sign = document.querySelector(".pc-away");
  if (sign?.dataset.state === state) sign.remove();
}

let were = false; // connected, ever
let away = false; // and said so
let timer = 0;

function look() {
  if (document.querySelector('[data-testid="stMain"] :is(h1, h2, h3, p)')) {
    document.querySelector(".pc-wait")?.remove();
  }
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
  attributeFilter: [APP],
});
addEventListener("online", look);
addEventListener("offline", look);

const shown = () => document.documentElement.classList.add("pc-icons");
document.fonts.load('24px "Material Symbols Rounded"', "pets").then((faces) => {
  if (faces.length) shown();
  // The style that names them may come later than this script.
  else addEventListener("load", () => document.fonts.load('24px "Material Symbols Rounded"', "pets").then(shown, shown));
}, shown);
