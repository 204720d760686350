// Leaving the editor with something unsaved asks first. Everything else here works without this.

const editor = document.getElementById("editor");
let unsaved = editor.hasAttribute("data-unsaved");

editor.addEventListener("input", () => { unsaved = true; });
editor.addEventListener("htmx:afterSwap", () => { unsaved = true; });
editor.addEventListener("submit", () => { unsaved = false; });
window.addEventListener("beforeunload", (event) => {
  if (unsaved) event.preventDefault();
});
