"use strict";
// Filter and sort; without this script all runs are there, in the order of the athletes.
(() => {
  const field = (id) => document.getElementById(id);
  const body = document.querySelector(".squad tbody");
  const rows = [...body.rows];
  const cards = [...document.querySelectorAll(".runs > li")];
  const blocks = [...document.querySelectorAll("section.athlete")];
  const told = field("shown");
  let turned = false;

  // On a phone only the newest run of each athlete, until the others are asked for.
  for (const more of document.querySelectorAll(".more")) {
    const list = more.previousElementSibling;
    list.classList.add("newest");
    more.hidden = false;
    more.addEventListener("click", () => {
      list.classList.remove("newest");
      more.hidden = true;
      list.children[1].querySelector("a").focus();
    });
  }

  function show() {
    const words = field("find").value.toLowerCase().split(/\s+/).filter(Boolean);
    const athlete = field("athlete").value;
    const state = field("state").value;
    const fits = (part) => {
      const text = `${part.textContent} ${part.dataset.athlete}`.toLowerCase();
      return words.every((word) => text.includes(word))
        && (!athlete || part.dataset.athlete === athlete)
        && (!state || part.dataset.state === state);
    };
    for (const part of [...rows, ...cards]) part.hidden = !fits(part);
    for (const more of document.querySelectorAll(".more:not([hidden])")) {
      more.previousElementSibling.classList.toggle("newest", !words.length && !state);
    }
    for (const block of blocks) {
      block.hidden = ![...block.querySelectorAll(".runs > li")].some((card) => !card.hidden);
    }
    const count = cards.filter((card) => !card.hidden).length;
    told.textContent = count === cards.length ? `${count} runs` : `${count} of ${cards.length} runs`;
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
  for (const id of ["filter", "order"]) {
    field(id).addEventListener("submit", (event) => event.preventDefault());
  }
})();
