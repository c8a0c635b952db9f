"use strict";
// One step is picked at a time; whatever belongs to it is marked in all figures and in the table.
(() => {
  const radios = [...document.querySelectorAll(".leg input")];
  const said = document.getElementById("said");
  const brief = document.getElementById("brief");
  if (!radios.length) return;
  const numbers = radios.map((radio) => radio.value);
  let picked = null;

  function pick(step) {
    if (step === picked || !numbers.includes(step)) return;
    picked = step;
    for (const old of document.querySelectorAll("[data-step].on")) old.classList.remove("on");
    for (const part of document.querySelectorAll(`[data-step="${step}"]`)) {
      part.classList.add("on");
      if (part.classList.contains("curve")) part.parentNode.append(part);
    }
    const radio = radios[numbers.indexOf(step)];
    radio.checked = true;
    said.textContent = radio.dataset.said;
    brief.textContent = radio.dataset.brief;
  }

  for (const radio of radios) {
    radio.addEventListener("change", () => pick(radio.value));
    radio.addEventListener("focus", () => pick(radio.value));
    const cell = radio.closest(".leg");
    cell.addEventListener("pointerenter", (event) => {
      if (event.pointerType === "mouse") pick(radio.value);
    });
  }
  for (const row of document.querySelectorAll("tr[data-step]")) {
    row.addEventListener("click", () => pick(row.dataset.step));
    row.addEventListener("pointerenter", (event) => {
      if (event.pointerType === "mouse") pick(row.dataset.step);
    });
  }
  for (const [id, by] of [["before", -1], ["next", 1]]) {
    document.getElementById(id).addEventListener("click", () => {
      const at = numbers.indexOf(picked) + by;
      pick(numbers[Math.min(Math.max(at, 0), numbers.length - 1)]);
    });
  }

  // The step nearest to the pointer: along the axis of steps or time, or anywhere on a curve.
  function nearest(plot, x, y) {
    const svg = plot.querySelector("svg");
    const box = svg.getBoundingClientRect();
    const scale = svg.viewBox.baseVal.width / box.width;
    const at = [(x - box.left) * scale, (y - box.top) * scale];
    const flat = plot.dataset.pick === "x";
    let best = null;
    let least = Infinity;
    for (const part of plot.querySelectorAll(".of-step")) {
      const line = points(part);
      const far = flat ? Math.abs(line[0][0] - at[0]) : fromLine(line, at);
      if (far < least) [least, best] = [far, part.dataset.step];
    }
    return best;
  }

  function fromLine(line, [x, y]) {
    let least = Infinity;
    for (let k = 1; k < line.length; k += 1) {
      const [ax, ay] = line[k - 1];
      const [dx, dy] = [line[k][0] - ax, line[k][1] - ay];
      const along = ((x - ax) * dx + (y - ay) * dy) / (dx * dx + dy * dy || 1);
      const t = Math.min(Math.max(along, 0), 1);
      least = Math.min(least, Math.hypot(ax + t * dx - x, ay + t * dy - y));
    }
    return least;
  }

  const known = new WeakMap();
  function points(part) {
    if (!known.has(part)) {
      const found = [];
      if (part.classList.contains("curve")) {
        const drawn = part.querySelector("path").getAttribute("d");
        for (const [, px, py] of drawn.matchAll(/([-\d.]+) ([-\d.]+)/g)) found.push([+px, +py]);
      } else {
        const box = part.getBBox();
        found.push([box.x + box.width / 2, box.y + box.height / 2]);
      }
      known.set(part, found);
    }
    return known.get(part);
  }

  for (const plot of document.querySelectorAll(".plot[data-pick]")) {
    const follow = (event) => {
      const step = nearest(plot, event.clientX, event.clientY);
      if (step) pick(step);
    };
    plot.addEventListener("pointermove", follow);
    plot.addEventListener("pointerdown", follow);
  }
  pick(numbers[0]);
})();

// Paper: one page with what matters, or all with every part unfolded.
(() => {
  let opened = [];
  for (const button of document.querySelectorAll("[data-print]")) {
    button.addEventListener("click", () => {
      document.body.classList.toggle("one-page", button.dataset.print === "one");
      window.print();
    });
  }
  window.addEventListener("beforeprint", () => {
    if (document.body.classList.contains("one-page")) return;
    opened = [...document.querySelectorAll("details:not([open])")];
    for (const part of opened) part.open = true;
  });
  window.addEventListener("afterprint", () => {
    for (const part of opened) part.open = false;
    opened = [];
    document.body.classList.remove("one-page");
  });
})();
