// The box of every page: Ctrl+K goes to it, the arrow keys walk what it found, Escape leaves. Without this file the box
// still finds: it sends its words with the enter key.
(() => {
  "use strict";
  const form = document.querySelector("form.find");
  if (!form) return;
  const box = form.querySelector("input");
  const links = () => [...form.querySelectorAll(".find-list a")];

  document.addEventListener("keydown", (event) => {
    if (!(event.ctrlKey || event.metaKey) || event.altKey || event.shiftKey || event.key.toLowerCase() !== "k") return;
    event.preventDefault();
    const menu = form.closest("[popover]");
    if (menu && !box.checkVisibility()) menu.showPopover();
    box.focus();
    box.select();
  });

  form.addEventListener("keydown", (event) => {
    if (event.key === "Escape") {
      form.querySelector(".find-list").replaceChildren();
      box.focus();
      return;
    }
    const step = { ArrowDown: 1, ArrowUp: -1 }[event.key];
    if (!step) return;
    const places = [box, ...links()];
    const at = places.indexOf(document.activeElement);
    const next = places[at + step];
    if (at < 0 || !next) return;
    event.preventDefault();
    next.focus();
  });

  // What was found goes once the box is left, so that it hides nothing of the page.
  form.addEventListener("focusout", (event) => {
    if (event.relatedTarget && !form.contains(event.relatedTarget)) form.querySelector(".find-list").replaceChildren();
  });
})();
