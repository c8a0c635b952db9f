"use strict";
// Filter and sort of the rows; without this script all rows are there in the order of the runs.
(() => {
  const body = document.querySelector(".squad tbody");
  const rows = [...body.rows];
  const field = (id) => document.getElementById(id);
  const told = field("shown");
  let turned = false;

  function show() {
    const find = field("find").value.trim().toLowerCase();
    const athlete = field("athlete").value;
    const state = field("state").value;
    let count = 0;
    for (const row of rows) {
      const fits = (!find || row.textContent.toLowerCase().includes(find))
        && (!athlete || row.dataset.athlete === athlete)
        && (!state || row.dataset.state === state);
      row.hidden = !fits;
      count += fits;
    }
    told.textContent = count === rows.length ? `${count} runs` : `${count} of ${rows.length} runs`;
  }

  function sort() {
    const by = field("sort").value;
    const words = by === "run" || by === "athlete" || by === "state";
    const missing = (row) => row.dataset[by] === "";
    const order = (a, b) => words
      ? a.dataset[by].localeCompare(b.dataset[by], "en", { numeric: true })
      : a.dataset[by] - b.dataset[by];
    const way = turned ? -1 : 1;
    rows.sort((a, b) => missing(a) - missing(b) || way * order(a, b)
      || a.dataset.order - b.dataset.order);
    body.append(...rows);
  }

  for (const id of ["find", "athlete", "state"]) field(id).addEventListener("input", show);
  field("sort").addEventListener("input", sort);
  field("turn").addEventListener("click", () => {
    turned = !turned;
    field("turn").setAttribute("aria-pressed", String(turned));
    sort();
  });
  field("filter").addEventListener("submit", (event) => event.preventDefault());
})();
