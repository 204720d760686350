// The timer of a check. Digits count by the browser's own count of milliseconds, from what the server said when the page
// was made: neither a reload nor a change of clocks moves them. A tap is told with how long ago it was, until the server
// has it. Everything works without this, a page for each tap.

const RETRY_MS = 2_000;
// The second tap of a wet thumb on the start lands on the button that takes its place: no brew is as short.
const SHORTEST_MS = 10_000;
const timer = document.getElementById("timer");

function clock(ms) {
  const s = Math.max(0, Math.floor(ms / 1_000));
  return `${Math.floor(s / 60)}:${String(s % 60).padStart(2, "0")}`;
}

function said(template, ...parts) {
  return parts.reduce((text, part) => text.replace("{}", part), template);
}

function run() {
  const form = document.getElementById("taps");
  const button = Object.fromEntries([...form.elements.do].map((one) => [one.value, one]));
  const mistaken = document.getElementById("mistaken");
  const steps = [...timer.querySelectorAll(".timer-steps > li")].map((row) => ({
    row,
    bar: row.querySelector("progress"),
    from: Number(row.dataset.from) * 1_000,
    until: Number(row.dataset.until) * 1_000,
    to: row.dataset.to ? Number(row.dataset.to) : null,
    what: row.dataset.what,
    at: row.dataset.at,
  }));
  const [digits, now, next, unsent] = ["digits", "now", "next", "unsent"].map((id) => document.getElementById(id));
  const ready = now.textContent;
  const { elapsed, after } = timer.dataset;
  let startedAt = elapsed === undefined ? null : performance.now() - Number(elapsed);
  let finishedAt = null;
  let lock = null;
  const taps = [];
  let sending = false;

  function write(place, text) {
    if (place.textContent !== text) place.textContent = text;
  }

  function draw() {
    const ms = startedAt === null ? 0 : (finishedAt ?? performance.now()) - startedAt;
    write(digits, clock(ms));
    button.start.hidden = startedAt !== null;
    button.finish.hidden = startedAt === null || finishedAt !== null;
    mistaken.hidden = startedAt === null || finishedAt !== null;
    const current = startedAt === null ? -1 : steps.findLastIndex((step) => ms >= step.from);
    steps.forEach((step, place) => {
      const share = startedAt === null ? 0 : (ms - step.from) / Math.max(1, step.until - step.from);
      step.bar.value = 100 * Math.min(1, Math.max(0, share));
      if (place === current) step.row.setAttribute("aria-current", "step");
      else step.row.removeAttribute("aria-current");
    });
    if (startedAt === null) {
      write(now, ready);
      write(next, "");
      return;
    }
    const [step, following] = [steps[current], steps[current + 1]];
    const then = following ? said(timer.dataset.next, following.at, following.what) : "";
    // Large is what to do now, or while there is nothing to do what comes next.
    const pouring = step && step.to !== null && ms < step.until ? said(timer.dataset.now, step.what) : "";
    write(now, pouring || (following?.to != null ? then : timer.dataset.ends));
    const bed = step && step.to === null ? said(timer.dataset.next, step.at, step.what) : "";
    write(next, bed || (pouring || following?.to == null ? then : ""));
  }

  async function send() {
    if (sending || !taps.length) return;
    sending = true;
    const tap = taps[0];
    const body = new FormData(form);
    body.set("do", tap.what);
    body.set("ago_ms", String(Math.round(performance.now() - tap.at)));
    try {
      const answer = await fetch(form.action, { method: "POST", body, headers: { "X-Tap": "yes" }, redirect: "manual" });
      if (answer.status >= 500) throw new Error(String(answer.status));
      taps.shift();
      unsent.hidden = taps.length === 0;
      // Refused, or nobody is signed in any more: the server's own page says what is so.
      if (answer.status !== 204) location.reload();
      else if (tap.what === "finish") after ? location.assign(after) : location.reload();
    } catch {
      unsent.hidden = false;
      setTimeout(send, RETRY_MS);
      sending = false;
      return;
    }
    sending = false;
    send();
  }

  async function stayAwake() {
    if (startedAt === null || finishedAt !== null || document.visibilityState !== "visible") return;
    try {
      lock = await navigator.wakeLock?.request("screen");
    } catch {
      // A battery that is nearly empty refuses it.
    }
  }

  form.addEventListener("submit", (event) => {
    event.preventDefault();
    const what = event.submitter?.value;
    const at = performance.now();
    if (what !== "start" && startedAt === null) return;
    if (what === "start" && startedAt === null) startedAt = at;
    else if (what === "finish" && finishedAt === null && at - startedAt >= SHORTEST_MS) finishedAt = at;
    else if (what === "back") startedAt = null;
    else return;
    taps.push({ what, at });
    draw();
    if (what === "finish" || what === "back") lock?.release();
    else stayAwake();
    (what === "start" ? button.finish : what === "back" ? button.start : timer).focus?.();
    send();
  });

  document.addEventListener("visibilitychange", stayAwake);
  addEventListener("online", send);
  addEventListener("beforeunload", (event) => {
    if (taps.length && !sending) event.preventDefault();
  });
  stayAwake();
  draw();
  setInterval(draw, 200);
}

if (timer) run();
// Going back shows how it stands now, not how it stood.
addEventListener("pageshow", (event) => {
  if (event.persisted) location.reload();
});
