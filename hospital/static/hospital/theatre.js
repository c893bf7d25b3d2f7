// Theatre: plus and minus start from the figure before, the clock goes on without the network, and a reading that
// was not saved says so with its figures kept. The page works without this.
(() => {
  "use strict";

  function press(button) {
    const box = document.getElementById(button.dataset.for);
    const step = box.dataset.step;
    const places = (step.split(".")[1] || "").length;
    const shown = box.value.trim().replace(",", ".");
    if (shown === "" && box.dataset.last !== "") { // the first press takes the figure before, the next ones move it
      box.value = box.dataset.last;
      return;
    }
    const moved = Number(shown || 0) + Number(button.dataset.press) * Number(step);
    if (Number.isFinite(moved)) box.value = Math.max(0, moved).toFixed(places);
  }
  document.addEventListener("click", (event) => {
    const button = event.target.closest("[data-press]");
    if (button) press(button);
  });

  function tick() {
    document.querySelectorAll("[data-minutes-since]").forEach((clock) => {
      clock.textContent = String(Math.max(0, Math.floor((Date.now() - Date.parse(clock.dataset.minutesSince)) / 60000)));
    });
  }

  function notSaved() {
    document.querySelectorAll("[data-not-saved]").forEach((note) => {
      note.hidden = false;
      note.scrollIntoView({ block: "nearest" });
    });
  }
  ["htmx:sendError", "htmx:timeout", "htmx:responseError"].forEach((name) => document.addEventListener(name, notSaved));

  function prepare() {
    document.querySelectorAll("[data-press][hidden]").forEach((button) => { button.hidden = false; });
    tick();
  }
  document.addEventListener("htmx:afterSettle", prepare);
  setInterval(tick, 10000);
  prepare();
})();
