// What every page needs: asking the server, the job's bar, what to do next, what went wrong.
const key = document.querySelector('meta[name="key"]')?.content ?? "";
const by = (id) => document.getElementById(id);

export async function ask(path, options = {}) {
  const answer = await fetch(path, { ...options, headers: { "X-Photoangle-Key": key, ...(options.headers ?? {}) } });
  const body = await answer.json().catch(() => ({}));
  if (answer.status === 401) by("gone")?.removeAttribute("hidden");
  if (!answer.ok) throw Object.assign(new Error(body.what ?? "the program does not answer"), { status: answer.status, ...body });
  return body;
}

export const post = (path, body) => ask(path, { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(body ?? {}) });

export function say(error) {
  const p = by("said");
  p.textContent = error.do ? `${error.what ?? error.message}: ${error.do}` : (error.what ?? error.message);
  p.hidden = false;
  clearTimeout(say.timer);
  say.timer = setTimeout(() => { p.hidden = true; }, 9000);
}

// the station one is at is in sight on a phone too
document.querySelector("header [aria-current]")?.scrollIntoView({ inline: "center", block: "nearest" });

let lost = 0, since = null, busy = false, ended = null;

// the parts of a page that show what the program found out are renewed by themselves, what is unfolded stays so
async function renewed() {
  const live = [...document.querySelectorAll("[data-live][id]")];
  if (!live.length) return false;
  const answer = await fetch(location.href);
  if (!answer.ok) return false;
  const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
  for (const part of live) {
    const other = fresh.getElementById(part.id);
    if (!other) continue;
    const open = [...part.querySelectorAll("details")].map((d) => d.open);
    part.replaceChildren(...other.childNodes);
    part.querySelectorAll("details").forEach((d, k) => { d.open = open[k] ?? d.open; });
  }
  const number = fresh.getElementById("main").dataset.answer;
  if (number !== undefined) by("main").dataset.answer = number;
  return true;
}

// a screen with figures carries the number of the answer that it shows, and says so when that is old
async function compare(work) {
  const shown = by("main").dataset.answer;
  // what a job found out without a new answer, such as a lens, is renewed as well
  const ran = ended !== null && ended !== work.number;
  const another = shown !== undefined && Number(shown) !== work.answer;
  // a screen that had nothing to show begins anew
  if (another && document.querySelector("[data-reload]")) { location.reload(); return; }
  if ((ran || another) && await renewed()) { ended = work.number; return; }
  ended = work.number;
  const old = by("old"), words = another ? "There are new figures: these are the old ones." : work.running || work.due
    ? "These figures are older than the last change: new ones are being worked out." : "These figures are older than the photos and readings.";
  old.hidden = shown === undefined || Number(shown) === 0 || (!another && work.fresh);
  if (by("old-words").textContent !== words) by("old-words").textContent = words;
  by("reload").hidden = !another;
}

function told(work) {
  const idle = !work.running && !work.due && !work.fresh && !["", "worked out"].includes(work.words);
  by("job").hidden = !work.running && !idle;
  by("job-words").textContent = idle ? work.words : work.total ? `${work.label}: ${work.done} of ${work.total}` : work.label;
  for (const id of ["job-stop", "job-bar"]) by(id).hidden = idle;
  by("job-start").hidden = !idle;
  by("job-bar").value = work.total ? work.done / work.total : 0;
  for (const [id, words] of [["next-words", work.next.words], ["next-why", work.next.why]]) if (by(id).textContent !== words) by(id).textContent = words;
  by("next-link").href = work.next.page;
  for (const station of document.querySelectorAll("[data-station]")) {
    const [how, done] = work.way[station.dataset.station];
    station.querySelector("small").textContent = how;
    station.toggleAttribute("data-done", done);
  }
}

async function watch() {
  try {
    const work = await ask("/api/job");
    if (lost) dispatchEvent(new Event("reachable"));
    lost = 0;
    since = null;
    by("dead").hidden = by("gone").hidden = true;
    told(work);
    await compare(work);
    document.documentElement.dataset.answer = work.answer;
    document.documentElement.dataset.running = work.running;
    busy = work.running || !work.fresh;
  } catch (error) {
    // the laptop sleeps or the program was stopped, or this browser's visit is over: nothing is lost, it is tried again
    since ??= new Date();
    lost += 1;
    by("gone").hidden = error.status !== 401;
    if (error.status !== 401 && lost >= 3) {
      by("dead-since").textContent = since.toLocaleTimeString([], { hour: "2-digit", minute: "2-digit" });
      by("dead").hidden = false;
    }
    if (error.status === 401 || lost >= 3) by("job").hidden = true;
  }
  setTimeout(watch, document.hidden ? 5000 : busy && !lost ? 250 : 900);
}

if (by("job")) {
  by("job-stop").addEventListener("click", () => post("/api/job/stop").catch(say));
  by("job-start").addEventListener("click", () => post("/api/job/start").catch(say));
  by("reload").addEventListener("click", () => location.reload());
  watch();
}

by("phone")?.addEventListener("click", async () => {
  try {
    const { url, squares } = await post("/api/phone");
    const n = squares.length;
    const svg = document.createElementNS("http://www.w3.org/2000/svg", "svg");
    svg.setAttribute("viewBox", `-4 -4 ${n + 8} ${n + 8}`);
    svg.setAttribute("class", "qr");
    svg.setAttribute("role", "img");
    svg.setAttribute("aria-label", "QR code with the address for the phone");
    const path = squares.flatMap((row, y) => row.map((dark, x) => (dark ? `M${x} ${y}h1v1h-1z` : ""))).join("");
    svg.innerHTML = `<rect x="-4" y="-4" width="${n + 8}" height="${n + 8}" fill="#fff"/><path d="${path}" fill="#000"/>`;
    const words = document.createElement("p");
    words.textContent = url;
    by("code").replaceChildren(svg, words);
  } catch (error) { say(error); }
});
