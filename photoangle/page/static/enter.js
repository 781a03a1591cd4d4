// The token stands behind the address's #: it is posted once and then taken out of the address.
const token = location.hash.slice(1);
history.replaceState(null, "", "/enter");
const words = document.getElementById("entering");
const answer = await fetch("/enter", { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify({ token }) });
if (answer.ok) location.replace("/");
else words.textContent = "This address was used already or is too old. Take a new one from the program's window.";
