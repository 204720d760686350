// A button that copies what stands in a field. Without this, the field can be selected and copied by hand.

const button = document.getElementById("copy");
const field = document.getElementById(button.dataset.copies);

async function copy() {
  field.select();
  try {
    await navigator.clipboard.writeText(field.value);
  } catch {
    // Browsers lend the clipboard to pages over HTTPS only; the old way works without.
    document.execCommand("copy");
  }
  document.getElementById("copied").textContent = button.dataset.done;
}

button.hidden = false;
button.addEventListener("click", copy);
field.addEventListener("focus", () => field.select());
