// Saving waits for a pour that is just being moved; leaving with something unsaved asks first.
// Everything else in the editor works without this.

const editor = document.getElementById("editor");
let unsaved = editor.hasAttribute("data-unsaved");

editor.addEventListener("input", () => { unsaved = true; });
editor.addEventListener("htmx:afterSwap", () => { unsaved = true; });

editor.addEventListener("submit", (event) => {
  if (!editor.querySelector("#pours.htmx-request")) {
    unsaved = false;
    return;
  }
  event.preventDefault();
  const save = () => editor.requestSubmit(event.submitter);
  editor.addEventListener("htmx:afterRequest", ({ detail }) => {
    if (detail.successful) editor.addEventListener("htmx:afterSettle", save, { once: true });
  }, { once: true });
});

window.addEventListener("beforeunload", (event) => {
  if (unsaved) event.preventDefault();
});
