// The token stands behind the address's #: it is posted once and then taken out of the address.
const words = document.getElementById("entering"), form = document.getElementById("again");

async function come(token) {
  const answer = await fetch("/enter", { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify({ token }) }).catch(() => null);
  if (answer?.ok) { location.replace("/"); return; }
  words.textContent = answer ? "This address was used already or is too old." : "The program does not answer. Is it still running?";
  form.hidden = false;
}

const token = location.hash.slice(1);
history.replaceState(null, "", "/enter");
form.addEventListener("submit", (event) => {
  event.preventDefault();
  come(document.getElementById("address").value.trim().split("#").at(-1));
});
if (token) await come(token);
else {
  words.textContent = "This browser is not let in, or its visit has ended.";
  form.hidden = false;
}
