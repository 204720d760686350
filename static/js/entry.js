// On the entry page: says how much coffee the scale's number means, hides what does not apply, and adds a field for
// a drop without a way to the server and back. Of a check under way it keeps what is typed on the server, where another
// device or a later hour finds it. Everything works without it.

const form = document.querySelector(".entry-form");

function show() {
  const { beverage_source: source, weight_g: weight, server } = form.elements;
  for (const part of form.querySelectorAll("[data-unless]")) {
    part.hidden = part.dataset.unless === source.value && !weight.value;
  }
  for (const part of form.querySelectorAll("[data-only]")) part.hidden = part.dataset.only !== source.value;
  const net = form.querySelector("#net");
  const mass = Number.parseFloat(weight.value.trim().replace(",", ".")) - JSON.parse(net.dataset.tares)[server?.value];
  net.hidden = source.value !== "server" || !(mass > 0);
  if (!net.hidden) net.textContent = net.dataset.says.replace("{}", mass.toFixed(1).replace(".", net.dataset.mark));
}

function addDrop(event) {
  const further = form.querySelector("#further-drops").content;
  const field = further.firstElementChild;
  if (!field) return;
  event.preventDefault();
  form.querySelector(".entry-drops").append(field);
  field.querySelector("input").focus();
  event.currentTarget.hidden = !further.firstElementChild;
}

const KEEP_AFTER_MS = 1_200;
let keeping;

function keep() {
  clearTimeout(keeping);
  keeping = undefined;
  fetch(form.dataset.keep, { method: "POST", body: new FormData(form), redirect: "manual", keepalive: true }).catch(() => {
    // Without a network it stays typed in the page, and goes with the next change or with Save.
  });
}

function keepSoon() {
  clearTimeout(keeping);
  keeping = setTimeout(keep, KEEP_AFTER_MS);
}

if (form?.dataset.keep) {
  form.addEventListener("input", keepSoon);
  form.addEventListener("submit", () => clearTimeout(keeping));
  document.addEventListener("visibilitychange", () => {
    if (document.visibilityState === "hidden" && keeping) keep();
  });
}

if (form) {
  form.addEventListener("input", show);
  form.querySelector("[name=more]")?.addEventListener("click", addDrop);
  show();
}
