// Photos that are on their way, kept by the browser until the server has answered for them: a reload
// in the middle loses none, and sends them again.
//
// Kept in this origin's own IndexedDB, never elsewhere: at most six, for at most an hour, none of an
// order that was sent or deleted (the page says so, owner/unsent.py).  Where the browser keeps nothing,
// as some do in private windows, or anything fails, photos go as they always did.

const NAME = "photocheck-unsent";
const PHOTOS = "photos";
const LASTS_MS = 3_600_000;
const MOST = 6;
const MOST_BYTES = 120_000_000; // of all together: two of the largest
const MARK = ".pc-unsent"; // whose photo a page asks for, and what became of those that came

const lock = (id) => `${NAME} ${id}`;
const mine = new Map(); // what this page sends, and how to let others know that it does so no longer
let opened = null;

function base() {
  opened ??= new Promise((done, failed) => {
    const asked = indexedDB.open(NAME, 1);
    asked.onupgradeneeded = () => asked.result.createObjectStore(PHOTOS, { keyPath: "id" });
    asked.onsuccess = () => done(asked.result);
    asked.onerror = asked.onblocked = () => failed(asked.error);
  });
  return opened;
}

// One step on the photos, once it is on disk; undefined where it fails.
async function on(mode, step) {
  try {
    const way = (await base()).transaction(PHOTOS, mode);
    const asked = step(way.objectStore(PHOTOS));
    return await new Promise((done, failed) => {
      way.oncomplete = () => done(asked.result);
      way.onerror = way.onabort = () => failed(way.error);
    });
  } catch {
    return undefined;
  }
}

const all = async () => (await on("readonly", (photos) => photos.getAll())) ?? [];
const drop = (id) => on("readwrite", (photos) => photos.delete(id));
const old = (one) => !(Math.abs(Date.now() - one.at) < LASTS_MS);

async function tidy() {
  for (const one of await all()) if (old(one)) await drop(one.id);
}

// What a page says of the order that is at hand; null on others.
function told() {
  const mark = document.querySelector(MARK);
  return mark?.dataset.order ? { ...mark.dataset } : null;
}

// Keep a photo that is being sent under that name, in place of what was kept under it before, and of
// what the page before this one had kept.  What is not kept anew is not sent again either.
export async function keep(id, file, before) {
  if (!(await put(id, file, before)) && before) await drop(before);
}

async function put(id, file, before) {
  const at = told();
  if (!at?.view || file.size > MOST_BYTES) return false;
  if (!mine.has(id)) {
    mine.set(id, () => {});
    navigator.locks?.request(lock(id), () => new Promise((free) => mine.set(id, free)));
  }
  const others = (await all())
    .filter((one) => one.id !== id && one.id !== before)
    .sort((a, b) => a.at - b.at);
  let bytes = others.reduce((sum, one) => sum + one.file.size, file.size);
  while (others.length >= MOST || (others.length && bytes > MOST_BYTES)) {
    const first = others.shift();
    bytes -= first.file.size;
    await drop(first.id);
  }
  if (!mine.has(id)) return false; // answered meanwhile
  const { order, view } = at;
  const done = await on("readwrite", (photos) => {
    if (before) photos.delete(before); // in one step, or a reload between two would send it twice
    return photos.put({ id, order, view, file, name: file.name, at: Date.now() });
  });
  if (!mine.has(id)) await drop(id);
  return done;
}

export async function forget(id) {
  mine.get(id)?.();
  mine.delete(id);
  await drop(id);
}

// What was on its way to the place that a page now asks for, when the page before it ended.
async function left({ order, view }) {
  const held = (await navigator.locks?.query())?.held ?? [];
  const sent = new Set(held.map((one) => one.name)); // also by other pages
  return (await all()).filter(
    (one) => one.order === order && one.view === view && !old(one) && !mine.has(one.id) && !sent.has(lock(one.id)),
  );
}

async function over(order) {
  for (const one of await all()) if (one.order === order) await forget(one.id);
}

// Calls `again` with the photos that were on their way to a place, once for each place of a page.
export function watch(again) {
  const asked = new Set();
  let seen = "";
  const look = () => {
    const at = told();
    const now = JSON.stringify(at);
    if (!at || now === seen) return;
    seen = now;
    if ("over" in at) over(at.order);
    (at.answered ?? "").split(" ").filter((id) => mine.has(id)).forEach(forget);
    const place = `${at.order} ${at.view}`;
    if (!at.view || "over" in at || asked.has(place)) return;
    asked.add(place);
    left(at).then((photos) => photos.length && again(photos));
  };
  tidy();
  setInterval(tidy, LASTS_MS / 6);
  look();
  new MutationObserver(look).observe(document.documentElement, {
    subtree: true,
    childList: true,
    attributes: true,
    attributeFilter: ["data-order", "data-view", "data-answered", "data-over"],
  });
}
