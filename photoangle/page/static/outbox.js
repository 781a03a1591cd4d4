// The outbox: photos chosen here are kept in the browser's own store until the program says that it has them whole.
// A reload, a sleeping phone or a stopped program loses none; sent twice, the program keeps a photo once.
import { ask } from "./common.js";

const folder = document.querySelector('meta[name="folder"]').content;
const by = (id) => document.getElementById(id);
const AT_ONCE = 2, FIRST_MS = 1000, LONGEST_MS = 30000;
// what will be refused however often it is sent: no photo, too large, no such place
const FOR_GOOD = new Set([400, 404, 411, 413, 415]);
const entries = new Map(), sending = new Map(), listeners = new Set();
let timer = null, trouble = "", count = 0;

const done = (request) => new Promise((good, bad) => {
  request.onsuccess = () => good(request.result);
  request.onerror = () => bad(request.error);
});

// null where the browser has no store, as some have not when browsing in private: photos then wait on the open page alone
const database = (async () => {
  const request = indexedDB.open("photoangle", 1);
  request.onupgradeneeded = () => request.result.createObjectStore("outbox", { keyPath: "id" });
  return done(request);
})().catch(() => null);

async function stored(mode, act) {
  const base = await database;
  if (!base) throw new Error("no store");
  const change = base.transaction("outbox", mode);
  const whole = new Promise((good, bad) => { change.oncomplete = good; change.onabort = change.onerror = () => bad(change.error); });
  whole.catch(() => {});
  const result = await done(act(change.objectStore("outbox")));
  await whole;
  return result;
}

// fn({ entry, state: "waiting", "sending", "sent", "refused" or "dropped", words, photo })
export function listen(fn) { listeners.add(fn); }
function tell(entry, state, words = "", photo = null) {
  for (const fn of listeners) fn({ entry, state, words, photo });
  bar();
}

function bar() {
  const n = entries.size, loose = [...entries.values()].some((e) => !e.kept);
  by("outbox").hidden = !n;
  document.documentElement.dataset.waiting = n;
  if (!n) { trouble = ""; return; }
  const photos = `${n} photo${n > 1 ? "s" : ""}`;
  const words = trouble ? `▲ ${photos} not sent yet (${trouble}). ${loose ? "Keep this page open: they" : "They are kept here and"} go by themselves.`
    : `Sending: ${photos} to go.${loose ? " Keep this page open." : ""}`;
  if (by("outbox-words").textContent !== words) by("outbox-words").textContent = words;
  by("outbox-now").hidden = !trouble;
}

export const waitingFor = (where) => [...entries.values()].filter((e) => e.where === where);

// files to a place, an address of the program's
export async function keep(files, where) {
  const fresh = [...files].map((file) => ({ id: `${Date.now()}-${String(++count).padStart(4, "0")}-${Math.random().toString(36).slice(2)}`,
    folder, where, name: file.name, file, kept: true, wait: 0, due: 0 }));
  for (const entry of fresh) {
    try {
      const { id, name, file } = entry;
      await stored("readwrite", (s) => s.put({ id, folder, where, name, file }));
    } catch { entry.kept = false; }
    entries.set(entry.id, entry);
    tell(entry, "waiting", "waiting…");
    next();
  }
}

async function forget(entry) {
  entries.delete(entry.id);
  if (entry.kept) await stored("readwrite", (s) => s.delete(entry.id)).catch(() => {});
}

export async function drop(id) {
  const entry = entries.get(id);
  if (!entry) return;
  await forget(entry);
  sending.get(id)?.abort();
  tell(entry, "dropped");
}

async function send(entry) {
  const cut = new AbortController();
  sending.set(entry.id, cut);
  // a connection that died without a word is given up: slower than 50 kB a second is no connection
  const late = setTimeout(() => cut.abort(), 60000 + entry.file.size / 50);
  tell(entry, "sending", "sending…");
  try {
    const photo = await ask(`${entry.where}?name=${encodeURIComponent(entry.name)}`,
      { method: "POST", body: entry.file, headers: { "Content-Type": "application/octet-stream" }, signal: cut.signal });
    if (photo.bytes !== entry.file.size) throw { what: "it did not arrive whole" };
    trouble = "";
    await forget(entry);
    tell(entry, "sent", "", photo);
  } catch (error) {
    if (!entries.has(entry.id)) return;
    const words = error.status ? `${error.what ?? error.message}${error.do && !error.retry ? `: ${error.do}` : ""}` : error.what ?? "the program does not answer";
    if (FOR_GOOD.has(error.status) && !error.retry) {
      await forget(entry);
      tell(entry, "refused", words);
    } else {
      entry.wait = Math.min(entry.wait * 2 || FIRST_MS, LONGEST_MS);
      entry.due = Date.now() + entry.wait;
      trouble = words;
      tell(entry, "waiting", words);
    }
  } finally {
    clearTimeout(late);
    sending.delete(entry.id);
    next();
  }
}

function next() {
  clearTimeout(timer);
  const idle = [...entries.values()].filter((e) => !sending.has(e.id));
  for (const entry of idle) if (sending.size < AT_ONCE && entry.due <= Date.now()) send(entry);
  const due = idle.filter((e) => e.due > Date.now()).map((e) => e.due);
  if (due.length) timer = setTimeout(next, Math.min(...due) - Date.now() + 20);
}

// try all at once; anew: also those on their way over a connection that is no more
function now(anew) {
  for (const entry of entries.values()) entry.due = 0;
  if (anew) for (const cut of sending.values()) cut.abort();
  next();
}

addEventListener("online", () => now(true));
addEventListener("reachable", () => now(false));
addEventListener("pageshow", (event) => { if (event.persisted) now(true); });
document.addEventListener("visibilitychange", () => { if (!document.hidden) now(false); });
addEventListener("beforeunload", (event) => { if ([...entries.values()].some((e) => !e.kept)) event.preventDefault(); });
by("outbox-now").addEventListener("click", () => now(false));
navigator.storage?.persist?.().catch(() => {});

// what an earlier page left
export const ready = (async () => {
  const left = await stored("readonly", (s) => s.getAll()).catch(() => []);
  for (const e of left) if (e.folder === folder && !entries.has(e.id)) entries.set(e.id, { ...e, kept: true, wait: 0, due: 0 });
  bar();
  next();
})();
