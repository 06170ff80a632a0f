// Keys of the desk: each presses what the page says it does, and never while somebody types.
//
// The page tells them (`desk/keys.py`) as pairs of a key and what it presses; where it tells none,
// as for those who have turned them off (WCAG 2.2, 2.1.4), none does anything.

const TYPED_IN = "input:not([type=radio]):not([type=checkbox]), textarea, select, [contenteditable=true]";

function told() {
  const place = document.querySelector("[data-desk-keys]");
  try {
    return place ? JSON.parse(place.dataset.deskKeys) : [];
  } catch {
    return [];
  }
}

function press(selector) {
  const found = [...document.querySelectorAll(selector)].find((one) => one.getClientRects().length);
  if (!found || found.disabled) return false;
  if (found.matches(TYPED_IN)) found.focus();
  else found.click();
  return true;
}

document.addEventListener("keydown", (event) => {
  if (event.repeat || event.ctrlKey || event.metaKey || event.altKey || event.isComposing) return;
  if (event.target instanceof Element && event.target.closest(TYPED_IN)) return;
  const key = event.key.length === 1 ? event.key.toLowerCase() : event.key;
  const pair = told().find(([wanted]) => wanted === key);
  if (pair && press(pair[1])) event.preventDefault();
});
