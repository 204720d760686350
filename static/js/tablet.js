// On a shared tablet: tells the server that somebody is there, says in time that they will be signed out, and leaves
// when nobody touched the page for too long. The server signs out by its own clock as well.

const WARN_MS = 45_000;
const TELL_EVERY_MS = 60_000;
const here = document.getElementById("still-there");

function watch({ after, touch, home }) {
  const idleMs = Number(after) * 1000;
  let touchedAt = Date.now();
  let toldAt = touchedAt;
  let leaving = false;
  let form = null;

  async function tell() {
    toldAt = Date.now();
    const headers = { "X-CSRFToken": document.querySelector('meta[name="csrf-token"]').content };
    try {
      const answer = await fetch(touch, { method: "POST", headers, redirect: "manual" });
      if (answer.status !== 204) leave();
    } catch {
      // Without a network nothing can be told; what is sent later is judged by the server's clock.
    }
  }

  function leave() {
    if (leaving) return;
    leaving = true;
    const done = document.getElementById("done");
    const typed = form?.isConnected && form.closest("main") && form.method === "post" ? form : null;
    if (touch && typed) {
      // The server signs out, and keeps what this says for its person instead of acting on it.
      const mark = document.createElement("input");
      mark.type = "hidden";
      mark.name = "left_by_itself";
      mark.value = "yes";
      typed.append(mark);
      HTMLFormElement.prototype.submit.call(typed);
    } else if (done) {
      done.submit();
    } else {
      location.assign(home);
    }
  }

  function look() {
    const left = touchedAt + idleMs - Date.now();
    if (left <= 0) leave();
    else if (left <= WARN_MS && !here.hasChildNodes()) {
      here.replaceChildren(document.getElementById("said-still-there").content.cloneNode(true));
    } else if (touch && touchedAt > toldAt && Date.now() - toldAt >= TELL_EVERY_MS) tell();
  }

  function touched() {
    look();
    if (leaving) return;
    touchedAt = Date.now();
    here.replaceChildren();
    look();
  }

  for (const sign of ["pointerdown", "keydown", "input", "wheel"]) {
    document.addEventListener(sign, touched, { capture: true, passive: true });
  }
  document.addEventListener("input", ({ target }) => { form = target.form; });
  // A tablet that slept, or a page that was hidden, ran no timer.
  document.addEventListener("visibilitychange", look);
  window.addEventListener("beforeunload", (event) => { if (leaving) event.stopImmediatePropagation(); }, true);
  setInterval(look, 1_000);
}

if (here) watch(here.dataset);
// Going back shows nobody else's page.
window.addEventListener("pageshow", (event) => { if (event.persisted) location.reload(); });
