// On every page with navigation. Nothing here is needed to read or to send a form.

const messages = document.getElementById("messages");

document.body.addEventListener("htmx:configRequest", (event) => {
  event.detail.headers["X-CSRFToken"] = document.querySelector('meta[name="csrf-token"]').content;
});

function say(id) {
  messages.replaceChildren(document.getElementById(id).content.cloneNode(true));
  messages.scrollIntoView({ block: "nearest" });
}

// A poll that fails says so, and takes it back by itself; a click that fails stays said until the next one works.
document.body.addEventListener("htmx:responseError", () => say("said-refused"));
document.body.addEventListener("htmx:sendError", () => say("said-offline"));
document.body.addEventListener("htmx:timeout", () => say("said-offline"));
document.body.addEventListener("htmx:afterRequest", (event) => {
  if (event.detail.successful && messages.querySelector("[data-said]")) messages.replaceChildren();
});

// Menus fold away by Escape, and by a tap elsewhere.
const folds = document.querySelectorAll("details[data-folds]");
document.addEventListener("click", (event) => {
  for (const fold of folds) if (!fold.contains(event.target)) fold.open = false;
});
document.addEventListener("keydown", (event) => {
  if (event.key !== "Escape") return;
  for (const fold of folds) {
    if (!fold.open) continue;
    fold.open = false;
    fold.querySelector("summary").focus();
  }
});
