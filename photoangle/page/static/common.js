// What every page needs: asking the server, the job's bar, what to do next, what went wrong.
const key = document.querySelector('meta[name="key"]')?.content ?? "";
const by = (id) => document.getElementById(id);

export async function ask(path, options = {}) {
  const answer = await fetch(path, { ...options, headers: { "X-Photoangle-Key": key, ...(options.headers ?? {}) } });
  const body = await answer.json().catch(() => ({}));
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

let first = null;
let lost = 0, busy = false;
// a page that only shows figures shows the new ones by itself
async function renewed() {
  const main = by("main");
  if (!main.firstElementChild?.matches("[data-live]")) return false;
  const answer = await fetch(location.href);
  const text = answer.ok ? new DOMParser().parseFromString(await answer.text(), "text/html").getElementById("main") : null;
  if (text) main.replaceChildren(...text.childNodes);
  return !!text;
}

async function watch() {
  try {
    const work = await ask("/api/job");
    if (lost) dispatchEvent(new Event("reachable"));
    lost = 0;
    // stopped, or not to be done as things are: why, and the way to begin again
    const idle = !work.running && !work.fresh && !["", "worked out"].includes(work.words);
    by("job").hidden = !work.running && !idle;
    by("job-words").textContent = idle ? work.words : work.total ? `${work.label}: ${work.done} of ${work.total}` : work.label;
    for (const id of ["job-stop", "job-bar"]) by(id).hidden = idle;
    by("job-start").hidden = !idle;
    by("job-bar").value = work.total ? work.done / work.total : 0;
    if (work.next) {
      by("next-words").textContent = work.next.words;
      by("next-why").textContent = work.next.why;
      by("next-link").href = work.next.page;
    }
    first ??= work.answer;
    if (work.answer !== first && await renewed()) first = work.answer;
    by("fresh").hidden = work.answer === first;
    document.documentElement.dataset.answer = work.answer;
    document.documentElement.dataset.running = work.running;
    busy = work.running || !work.fresh;
  } catch (error) {
    // the laptop sleeps or the program was stopped: nothing is lost, it is tried again
    if (++lost === 3) say({ what: "the program does not answer; it is tried again by itself" });
  }
  setTimeout(watch, document.hidden ? 5000 : busy ? 250 : 900);
}

if (by("job")) {
  by("job-stop").addEventListener("click", () => post("/api/job/stop").catch(say));
  by("job-start").addEventListener("click", () => post("/api/job/start").catch(say));
  by("reload").addEventListener("click", () => {
    if (document.querySelector(".try, .slide")) location.reload(); else location.href = "/angles";
  });
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
