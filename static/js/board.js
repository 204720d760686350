// Says so when the board's own questions stay unanswered. Nothing here is needed to read the board.

const SILENCE_MS = 20_000;
const old = document.getElementById("board-old");
const clock = new Intl.DateTimeFormat("en-GB", { hour: "numeric", minute: "2-digit", timeZone: old.dataset.zone });
let answeredAt = Date.now();

function warn() {
  if (old.hasChildNodes()) return;
  const said = document.getElementById("said-old").content.cloneNode(true);
  said.querySelector("[data-time]").textContent = clock.format(answeredAt).replace(/^0/, "");
  old.replaceChildren(said);
}

// A poll's failure is told here, and goes no further: nobody typed or tapped anything.
for (const trouble of ["htmx:sendError", "htmx:responseError", "htmx:timeout"]) {
  document.getElementById("main").addEventListener(trouble, (event) => {
    if (event.target.id === "under-way") event.stopPropagation();
    if (event.target.id !== "board-poll") return;
    event.stopPropagation();
    warn();
  });
}
document.body.addEventListener("htmx:afterRequest", (event) => {
  if (!event.detail.successful || event.target.id === "under-way") return;
  answeredAt = Date.now();
  old.replaceChildren();
});
// A tablet that slept asked nothing, and so heard of no failure.
setInterval(() => {
  if (Date.now() - answeredAt > SILENCE_MS) warn();
}, 2_000);
