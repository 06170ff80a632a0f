// Names that the framework gives to its own parts in English, for readers of the page: in the
// language that the page speaks.

import { texts } from "./sign.js";

const { names = {}, beginnings = {}, more = "" } = texts();

function put(element) {
  const name = element.getAttribute("aria-label");
  const begun = Object.keys(beginnings).find((one) => name.startsWith(one));
  const better = names[name] ?? (begun && beginnings[begun] + name.slice(begun.length));
  if (better && better !== name) element.setAttribute("aria-label", better);
}

// Its word is English, and not seen (`shared.uploaders_look`): what is seen is its label.
const UPLOADER = '[data-testid="stFileUploaderDropzone"]';

function call(button) {
  const label = button.closest(UPLOADER).getAttribute("aria-label");
  if (label) button.setAttribute("aria-label", label);
}

// What the row of pages has no room for, "2 more": a text and not a name, and seen.
const BAR = '[data-testid="stHeader"]';
const MORE = /^(\d+) more$/;

function count(bar) {
  const walker = document.createTreeWalker(bar, NodeFilter.SHOW_TEXT);
  while (more && walker.nextNode()) {
    const found = MORE.exec(walker.currentNode.nodeValue);
    const said = found && more.replace("{count}", found[1]);
    // what is said already is left alone, or it would be seen as changed again, for ever
    if (said && said !== found[0]) walker.currentNode.nodeValue = said;
  }
}

function within(node) {
  if (node.nodeType !== Node.ELEMENT_NODE) return;
  if (node.hasAttribute("aria-label")) put(node);
  node.querySelectorAll("[aria-label]").forEach(put);
  node.querySelectorAll(`${UPLOADER} button[kind="secondary"]:not([aria-label])`).forEach(call);
}

if (document.documentElement.lang !== "en" || new URLSearchParams(location.search).has("language")) {
  new MutationObserver((changes) => {
    for (const change of changes) {
      if (change.type === "attributes") within(change.target);
      else change.addedNodes.forEach(within);
    }
    document.querySelectorAll(BAR).forEach(count);
  }).observe(document.documentElement, {
    subtree: true,
    childList: true,
    characterData: true,
    attributes: true,
    attributeFilter: ["aria-label"],
  });
}
