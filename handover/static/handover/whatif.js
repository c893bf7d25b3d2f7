// What if: a date is moved on the picture, by finger, mouse or keyboard. The day goes into the form, and the form asks.
// Without this file the form does the same by typing. Nothing is kept in the browser, and nothing is ever saved.
(() => {
  "use strict";
  const DAY_MS = 86400000;
  const WEEK = 7;
  const LEAST_PIXELS_A_DAY = 4; // on a small screen the dot follows more slowly than the finger, so that a day can be met
  const STEPS = { ArrowRight: 1, ArrowUp: 1, ArrowLeft: -1, ArrowDown: -1, PageUp: WEEK, PageDown: -WEEK };
  let focusAfter = ""; // the event whose dot takes the focus when the answer is there

  const dayOf = (iso) => Math.round(Date.parse(`${iso}T00:00:00Z`) / DAY_MS); // whole days: no clock, no summer time
  const isoOf = (day) => new Date(day * DAY_MS).toISOString().slice(0, 10);
  const inWords = (day, parts) => new Date(day * DAY_MS).toLocaleDateString(document.documentElement.lang, { timeZone: "UTC", ...parts });
  const short = (day) => inWords(day, { day: "numeric", month: "short" });
  const full = (day) => inWords(day, { weekday: "short", day: "numeric", month: "short", year: "numeric" });

  function prepare(root) {
    root.querySelectorAll("[data-slider]").forEach((svg) => {
      if (svg.dataset.ready) return;
      svg.dataset.ready = "yes";
      svg.setAttribute("role", "group"); // a picture until now; its dots are controls from here on
      const { first, days, edge, today } = svg.dataset;
      const scale = { svg, first: dayOf(first), days: Number(days), edge: Number(edge), today: dayOf(today) };
      svg.querySelectorAll("[data-event]").forEach((track) => makeMovable(track, scale));
    });
  }

  function makeMovable(track, scale) {
    const start = dayOf(track.dataset.on);
    const last = scale.first + scale.days - 1;
    const say = document.getElementById("slider-say");
    const dots = track.querySelectorAll(".grip, .chosen");
    const words = track.querySelector(".day");
    let day = start;
    let held = null; // the pointer that holds the dot, and where it took hold

    track.setAttribute("role", "slider");
    track.setAttribute("tabindex", "0");
    track.setAttribute("aria-label", track.dataset.label);
    track.setAttribute("aria-valuemin", String(scale.today));
    track.setAttribute("aria-valuemax", String(last));
    track.setAttribute("aria-orientation", "horizontal");
    show(start);

    function show(to) {
      day = Math.min(Math.max(to, scale.today), last);
      if (to === start) day = start; // a day that has gone by stays where it is until somebody moves it
      const x = scale.edge + ((100 - 2 * scale.edge) * (day - scale.first + 0.5)) / scale.days;
      dots.forEach((dot) => dot.setAttribute("cx", `${x.toFixed(3)}%`));
      words.textContent = short(day);
      track.setAttribute("aria-valuenow", String(day));
      track.setAttribute("aria-valuetext", full(day));
      track.classList.toggle("is-moving", day !== start);
      if (day !== start) say.textContent = scale.svg.dataset.ask.replace("%s", `${track.dataset.label}: ${full(day)}`);
    }
    function putBack() {
      if (day === start) return;
      show(start);
      say.textContent = scale.svg.dataset.back;
    }
    function ask() {
      if (day === start) return;
      focusAfter = track.dataset.event;
      fillIn(track, day);
    }

    track.addEventListener("keydown", (event) => {
      if (event.altKey || event.ctrlKey || event.metaKey) return;
      if (event.key in STEPS) show(day + STEPS[event.key]);
      else if (event.key === "Home") show(scale.today);
      else if (event.key === "End") show(last);
      else if (event.key === "Enter" || event.key === " ") ask();
      else if (event.key === "Escape") putBack();
      else return;
      event.preventDefault();
    });
    track.addEventListener("blur", () => { if (!held && !focusAfter) putBack(); });

    const grip = track.querySelector(".grip");
    track.addEventListener("pointerdown", (event) => {
      if (event.button !== 0 || !event.isPrimary || !isOnDot(event)) return;
      held = { id: event.pointerId, x: event.clientX, day };
      track.setPointerCapture(event.pointerId);
      track.focus({ preventScroll: true });
      event.preventDefault();
    });
    track.addEventListener("pointermove", (event) => {
      if (!held || event.pointerId !== held.id) return;
      const room = scale.svg.getBoundingClientRect().width * (1 - (2 * scale.edge) / 100);
      const perDay = Math.max(room / scale.days, LEAST_PIXELS_A_DAY);
      show(held.day + Math.round((event.clientX - held.x) / perDay));
    });
    track.addEventListener("pointerup", (event) => {
      if (!held || event.pointerId !== held.id) return;
      held = null;
      ask();
    });
    track.addEventListener("pointercancel", () => { held = null; putBack(); });
    function isOnDot(event) {
      const box = grip.getBoundingClientRect();
      return event.clientX >= box.left && event.clientX <= box.right && event.clientY >= box.top && event.clientY <= box.bottom;
    }
  }

  // Put the day into the row about this event, or into the empty one; back on its own day nothing is supposed of it.
  function fillIn(track, day) {
    const form = document.querySelector("form[data-what-if]");
    const choices = [...form.querySelectorAll("select[name^='day-'][name$='-event_id']")];
    const choice = choices.find((each) => each.value === track.dataset.event) || choices.find((each) => !each.value);
    if (!choice) return; // no room for one more: the page says how many there can be
    const box = form.elements.namedItem(choice.name.replace("-event_id", "-on"));
    const isHome = track.dataset.home === isoOf(day) && choice.value === track.dataset.event;
    choice.value = isHome ? "" : track.dataset.event;
    box.value = isHome ? "" : isoOf(day);
    form.requestSubmit();
  }

  document.addEventListener("htmx:afterSettle", (event) => {
    prepare(document);
    const part = document.getElementById("what-if");
    const outcome = document.getElementById("outcome");
    if (!part || !(event.target === part || event.target.contains(part) || part.contains(event.target))) return;
    document.getElementById("what-if-say").textContent = outcome.textContent.trim().replace(/\s+/g, " ");
    const track = focusAfter && part.querySelector(`[data-event="${CSS.escape(focusAfter)}"]`);
    focusAfter = "";
    if (part.querySelector("[data-error-summary]")) return; // it takes the focus itself
    if (track) track.focus({ preventScroll: true });
    else if (document.activeElement === document.body) outcome.focus({ preventScroll: true });
  });
  document.addEventListener("htmx:afterRequest", (event) => { if (!event.detail.successful) focusAfter = ""; });

  prepare(document);
})();
