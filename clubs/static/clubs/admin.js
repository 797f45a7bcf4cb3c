/* On a phone each row of a table stands as a card (phone.css), so each cell says what it holds.
   Without this script the tables stay tables, and are moved sideways in their frames. */

"use strict";

document.addEventListener("DOMContentLoaded", () => {
  for (const table of document.querySelectorAll("#result_list, .tabular table, table.figures")) {
    const labels = [];
    for (const head of table.querySelectorAll("thead th")) {
      const text = head.querySelector(".text") || head;
      const name = text.firstElementChild ? text.firstElementChild.textContent : text.textContent;
      // The first heading of rows edited in place spans a hidden column, too.
      labels.push(...Array(Math.max(head.colSpan, 1)).fill(name.trim()));
    }
    for (const row of table.querySelectorAll("tbody tr")) {
      [...row.cells].forEach((cell, place) => {
        if (labels[place] && !cell.classList.contains("action-checkbox")) {
          cell.dataset.label = cell.dataset.label || labels[place];
          // A card leaves out what a column shows as a dash.
          cell.classList.toggle("nothing", cell.textContent.trim() === "–");
        }
      });
    }
    table.classList.add("as-cards");
  }
});
