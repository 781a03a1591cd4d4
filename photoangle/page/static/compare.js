// A slider between the two photos, and the choice of states.
const by = (id) => document.getElementById(id);
const slide = by("slide"), before = by("before-picture");
const cut = () => { before.style.clipPath = `inset(0 ${100 - slide.value}% 0 0)`; };
if (slide) { slide.addEventListener("input", cut); cut(); }
for (const id of ["before", "after"]) by(id)?.addEventListener("change", () => {
  location.search = `?before=${encodeURIComponent(by("before").value)}&after=${encodeURIComponent(by("after").value)}`;
});
