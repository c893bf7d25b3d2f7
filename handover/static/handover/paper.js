// The grid of a paper log by keyboard alone: Enter goes to the same question of the next day, Ctrl with an arrow key in every
// direction, and in a box of text the arrows up and down do too. Without script Tab and the first letter of a choice do.
(() => {
  "use strict";
  const grid = document.querySelector("[data-grid]");
  if (!grid) return;
  grid.querySelector("[data-keys]").hidden = false;
  const rows = [...grid.querySelectorAll("tbody tr")];
  const boxesOf = (row) => [...row.querySelectorAll("td")].map((cell) => cell.querySelector("input, select"));
  const MOVES = { ArrowUp: [-1, 0], ArrowDown: [1, 0], ArrowLeft: [0, -1], ArrowRight: [0, 1], Enter: [1, 0] };

  // The next box in that direction: days that are logged already have none and are passed over.
  function next(box, [down, right]) {
    let row = rows.indexOf(box.closest("tr"));
    let column = [...box.closest("tr").querySelectorAll("td")].indexOf(box.closest("td"));
    do { row += down; column += right; } while (rows[row] && right === 0 && !boxesOf(rows[row])[column]);
    return rows[row] && boxesOf(rows[row])[column];
  }
  grid.addEventListener("keydown", (event) => {
    const move = MOVES[event.key];
    const box = event.target.closest("td input, td select");
    if (!move || !box || event.shiftKey || event.altKey || event.isComposing) return;
    const isPlain = event.key === "Enter" || (box.matches("input") && move[0] !== 0);
    if (!event.ctrlKey && !isPlain) return;
    event.preventDefault();
    const there = next(box, move) || (event.key === "Enter" ? grid.querySelector(".buttons .button") : null);
    if (there) there.focus();
    if (there && there.select) there.select();
  });
})();
