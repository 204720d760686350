// Saving waits for a pour that is just being moved; leaving with something unsaved asks first; a mended field
// loses its error.
// Everything else in the editor works without this.

const editor = document.getElementById("editor");
let unsaved = editor.hasAttribute("data-unsaved");

editor.addEventListener("input", ({ target }) => {
  unsaved = true;
  if (!target.matches("[aria-invalid]")) return;
  // Refused at the last saving: from the first change on, the findings say how it stands.
  target.removeAttribute("aria-invalid");
  target.closest(".field").classList.remove("field-wrong");
  document.getElementById(`${target.id}_error`)?.remove();
});
editor.addEventListener("htmx:afterSwap", () => { unsaved = true; });

let moving = false;
let waiting = null;

editor.addEventListener("htmx:beforeRequest", ({ detail }) => { moving ||= detail.target.id === "pours"; });
editor.addEventListener("htmx:afterRequest", ({ detail }) => {
  if (detail.successful) return;
  moving = false;
  waiting = null;
});
// Not earlier: until it has settled, htmx lends new fields the values of the old ones.
editor.addEventListener("htmx:afterSettle", ({ target }) => {
  if (target.id !== "pours") return;
  moving = false;
  if (waiting) editor.requestSubmit(waiting);
});
editor.addEventListener("submit", (event) => {
  waiting = moving ? event.submitter : null;
  if (moving) event.preventDefault();
  else unsaved = false;
});

window.addEventListener("beforeunload", (event) => {
  if (unsaved) event.preventDefault();
});
