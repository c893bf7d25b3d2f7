// The daily report: its key is made here, so that sending twice stores once; the water timer; buttons that fill in a
// number. The page works without any of it. Only the moment at which the timer was started is kept on the device.
(() => {
  "use strict";
  const form = document.querySelector("form[data-report]");
  if (!form) return;
  const field = (name) => form.elements.namedItem(name);

  function newKey() {
    if (window.isSecureContext && crypto.randomUUID) return crypto.randomUUID();
    const bytes = crypto.getRandomValues(new Uint8Array(16));
    bytes[6] = (bytes[6] & 0x0f) | 0x40; // RFC 9562: version 4
    bytes[8] = (bytes[8] & 0x3f) | 0x80;
    const hex = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
    return [hex.slice(0, 8), hex.slice(8, 12), hex.slice(12, 16), hex.slice(16, 20), hex.slice(20)].join("-");
  }

  // A form that comes back with mistakes keeps its key and its moment; so does one that is sent twice.
  let isStamped = "sent" in form.dataset;
  if (!isStamped) field("key").value = newKey();
  form.addEventListener("submit", () => {
    const now = new Date().toISOString();
    if (!isStamped) field("made_at").value = now;
    field("sent_at").value = now;
    isStamped = true;
  });

  function fill(id, value) {
    const box = document.getElementById(id);
    if (!box) return;
    box.value = String(value);
    box.dispatchEvent(new Event("input", { bubbles: true }));
  }
  form.querySelectorAll("[data-fill]").forEach((button) => {
    button.hidden = false;
    button.addEventListener("click", () => fill(button.dataset.fill, button.dataset.value));
  });

  // ---- the water timer
  const timer = form.querySelector("[data-timer]");
  if (!timer) return;
  const name = `water-started-${timer.dataset.timer}`;
  const [clock, say, start, stop] = ["clock", "say", "start", "stop"].map((part) => timer.querySelector(`[data-${part}]`));
  const allowedMs = Math.max(0, timer.dataset.minutes - timer.dataset.used) * 60000;
  const LONGEST_MS = 24 * 3600 * 1000; // an older start was forgotten
  let started = 0;
  let said = "";

  function kept() {
    try { return Number(localStorage.getItem(name)) || 0; } catch { return started; }
  }
  function keep(moment) {
    started = moment;
    try {
      if (moment) localStorage.setItem(name, String(moment));
      else localStorage.removeItem(name);
    } catch { /* private mode: the timer then lasts as long as the page */ }
  }
  function tell(words) {
    if (words !== said) say.textContent = said = words;
  }
  function two(n) { return String(n).padStart(2, "0"); }
  function show() {
    const isRunning = started > 0;
    start.hidden = isRunning;
    stop.hidden = !isRunning;
    if (!isRunning) return;
    const ms = Math.max(0, Date.now() - started);
    clock.textContent = `${Math.floor(ms / 60000)}:${two(Math.floor(ms / 1000) % 60)}`;
    const out = new Date(started + allowedMs);
    const isOver = ms >= allowedMs;
    tell(isOver ? say.dataset.over : say.dataset.running.replace("%s", `${two(out.getHours())}:${two(out.getMinutes())}`));
    clock.classList.toggle("late", isOver);
  }
  start.addEventListener("click", () => { keep(Date.now()); show(); stop.focus(); });
  stop.addEventListener("click", () => {
    const minutes = Math.round(Math.max(0, Date.now() - started) / 60000);
    const before = Number(document.getElementById(timer.dataset.field)?.value) || 0;
    keep(0);
    fill(timer.dataset.field, before + minutes);
    tell(say.dataset.stopped.replace("%s", String(before + minutes)));
    show();
    start.focus();
  });
  started = kept();
  if (Date.now() - started > LONGEST_MS) keep(0);
  timer.hidden = false;
  show();
  setInterval(show, 1000);
})();
