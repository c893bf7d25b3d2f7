// Small helps for pages that all work without them: focus the error summary, ignore a second press, fill in
// where and when, and say in words when the server does not answer. No dependency; runs under a strict
// Content-Security-Policy.
(() => {
  "use strict";

  // ---- a form with mistakes: its summary takes the focus, after a page load and after a part was swapped in
  function focusErrorSummary(root) {
    const summary = root.querySelector("[data-error-summary]");
    if (summary) summary.focus();
    return Boolean(summary);
  }

  // A link of the summary should land in the field, not only scroll to it.
  document.addEventListener("click", (event) => {
    const link = event.target.closest("[data-error-summary] a[href^='#']");
    const field = link && document.getElementById(link.hash.slice(1));
    if (!field) return;
    event.preventDefault();
    (field.closest(".field") || field).scrollIntoView({ block: "start" });
    const boxes = "input, select, textarea";
    const box = field.matches(boxes) ? field : field.querySelector(boxes);
    if (box) box.focus({ preventScroll: true });
  });

  // ---- a second press does nothing twice (the server makes sure as well)
  const LONGEST_WAIT_MS = 15000; // then a press counts again: the answer may have been a file, or never come
  function setBusy(form, busy) {
    if (busy) form.setAttribute("aria-busy", "true");
    else form.removeAttribute("aria-busy");
  }
  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (form.getAttribute("aria-busy") === "true") {
      event.preventDefault();
      event.stopImmediatePropagation();
      return;
    }
    if (form.method.toLowerCase() !== "post") return;
    setTimeout(() => {
      if (event.defaultPrevented) return; // another script sends it and says when it is done
      setBusy(form, true);
      setTimeout(() => setBusy(form, false), LONGEST_WAIT_MS);
    });
  }, true);
  window.addEventListener("pageshow", () => {
    document.querySelectorAll("form[aria-busy]").forEach((form) => setBusy(form, false));
  });

  // ---- htmx: busy while it asks, words when it fails
  function say(sentence) {
    const flash = document.getElementById("flash");
    if (!flash || !sentence) return;
    const note = document.createElement("div");
    note.className = "note alert";
    const words = document.createElement("p");
    words.textContent = sentence;
    note.append(words);
    flash.replaceChildren(note);
    note.scrollIntoView({ block: "nearest" });
  }
  const sentence = (name) => document.getElementById("flash")?.dataset[name];
  document.addEventListener("htmx:beforeRequest", (event) => {
    if (event.target.matches("form")) setBusy(event.target, true);
  });
  document.addEventListener("htmx:afterRequest", (event) => {
    if (event.target.matches("form")) setBusy(event.target, false);
  });
  document.addEventListener("htmx:afterSettle", (event) => {
    prepare(event.target);
    focusErrorSummary(event.target);
  });
  document.addEventListener("htmx:sendError", () => say(sentence("unreachable")));
  document.addEventListener("htmx:timeout", () => say(sentence("unreachable")));
  document.addEventListener("htmx:responseError", (event) => {
    say(sentence(event.detail.xhr.status === 403 ? "forbidden" : "failed"));
  });

  // ---- filling in: where I am, and now
  function fill(id, value) {
    const field = id && document.getElementById(id);
    if (!field) return;
    field.value = value;
    field.dispatchEvent(new Event("input", { bubbles: true }));
    field.dispatchEvent(new Event("change", { bubbles: true }));
  }

  function answerBeside(button, words) {
    let place = button.nextElementSibling;
    if (!place || !place.matches("[data-answer]")) {
      place = document.createElement("span");
      place.dataset.answer = "";
      place.setAttribute("role", "status");
      button.after(place);
    }
    place.textContent = words;
  }

  function fillLocation(button) {
    const { latField, lonField, uncertaintyField, waiting = "", found = "", refused = "" } = button.dataset;
    answerBeside(button, waiting);
    navigator.geolocation.getCurrentPosition(
      ({ coords }) => {
        fill(latField, coords.latitude.toFixed(5));
        fill(lonField, coords.longitude.toFixed(5));
        fill(uncertaintyField, String(Math.ceil(coords.accuracy)));
        answerBeside(button, found);
      },
      () => answerBeside(button, refused),
      { enableHighAccuracy: true, timeout: 20000, maximumAge: 30000 },
    );
  }

  // Fills a box for date and time, a date box, three boxes (id_0, id_1, id_2: day, month, year), or a text box;
  // and a time box.
  function fillNow(button) {
    const now = new Date();
    const two = (n) => String(n).padStart(2, "0");
    const { dateField, timeField } = button.dataset;
    const parts = [now.getDate(), now.getMonth() + 1, now.getFullYear()];
    const day = `${parts[2]}-${two(parts[1])}-${two(parts[0])}`;
    const time = `${two(now.getHours())}:${two(now.getMinutes())}`;
    const words = now.toLocaleDateString("en-GB", { day: "numeric", month: "short", year: "numeric" });
    if (dateField && document.getElementById(`${dateField}_0`)) {
      parts.forEach((part, n) => fill(`${dateField}_${n}`, String(part)));
    } else if (dateField) {
      const type = document.getElementById(dateField)?.type;
      fill(dateField, { "datetime-local": `${day}T${time}`, date: day }[type] || words);
    }
    fill(timeField, time);
  }

  // Buttons that need a script are hidden until there is one.
  function prepare(root) {
    if ("geolocation" in navigator && window.isSecureContext) {
      root.querySelectorAll("[data-fill-location][hidden]").forEach((button) => { button.hidden = false; });
    }
    root.querySelectorAll("[data-fill-now][hidden], [data-print][hidden]").forEach((button) => {
      button.hidden = false;
    });
  }
  document.addEventListener("click", (event) => {
    const button = event.target.closest("[data-fill-location], [data-fill-now], [data-print]");
    if (!button) return;
    if ("fillLocation" in button.dataset) fillLocation(button);
    if ("fillNow" in button.dataset) fillNow(button);
    if ("print" in button.dataset) window.print();
  });

  // Pages that a carer kept on this device are not for whoever signs in next.
  if ("caches" in self && document.body.matches(".staff")) caches.delete("pages");

  prepare(document);
  focusErrorSummary(document);
})();
