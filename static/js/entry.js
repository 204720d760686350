// On the entry page: says how much coffee the scale's number means, hides what does not apply, and adds a field for
// a drop without a way to the server and back. Everything works without it.

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

if (form) {
  form.addEventListener("input", show);
  form.querySelector("[name=more]")?.addEventListener("click", addDrop);
  show();
}
