// Readings are written as they are typed: when the field is left or Enter is pressed.
import { post, say } from "./common.js";

for (const field of document.querySelectorAll("input[data-path]")) {
  const out = field.parentElement.querySelector("output");
  field.addEventListener("input", () => { out.textContent = ""; });
  field.addEventListener("keydown", (event) => { if (event.key === "Enter") field.blur(); });
  field.addEventListener("change", async () => {
    try {
      const { written, read } = await post("/api/note", { path: field.dataset.path.split("/"), text: field.value });
      field.value = written;
      field.removeAttribute("aria-invalid");
      out.textContent = read && !written.includes(read) ? `✓ ${read}` : "✓";
    } catch (error) {
      field.setAttribute("aria-invalid", "true");
      out.textContent = `✖ ${error.what ?? error.message}${error.do ? `: ${error.do}` : ""}`;
      if (!error.status) say(error);
    }
  });
}
