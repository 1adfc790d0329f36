// Many fields read as one number: arrow keys move, space or a click picks the odd ones out.

import { el, shown } from "./dom.js";

export function drawGrid(grid, finish) {
  const tiles = grid.tiles.map((address, number) => el("button", {
    type: "button", class: "tile", "aria-pressed": "false", tabindex: number === 0 ? "0" : "-1",
    "aria-label": `Field ${number + 1} of ${grid.tiles.length}, read as ${grid.value}`,
  }, shown(address, ""), el("span", { class: "odd", "aria-hidden": "true" }, "odd")));
  const pick = (tile) => tile.setAttribute("aria-pressed", String(tile.getAttribute("aria-pressed") !== "true"));
  const picked = () => tiles.flatMap((tile, number) => tile.getAttribute("aria-pressed") === "true" ? [number] : []);
  const done = (event) => finish(picked(), event);
  const columns = () => {
    const top = tiles[0].offsetTop;
    return Math.max(1, tiles.filter((tile) => tile.offsetTop === top).length);
  };
  const place = el("div", { class: "tiles", role: "group", "aria-label": `Fields read as ${grid.value}` }, tiles);
  place.addEventListener("click", (event) => {
    const tile = event.target.closest(".tile");
    if (tile) pick(tile);
  });
  place.addEventListener("keydown", (event) => {
    const at = tiles.indexOf(document.activeElement);
    const steps = { ArrowLeft: -1, ArrowRight: 1, ArrowUp: -columns(), ArrowDown: columns() };
    if (event.key === "Enter") {
      event.preventDefault();
      done(event);
    } else if (event.key in steps) {
      event.preventDefault();
      const next = tiles[at + steps[event.key]];
      if (!next) return;
      tiles.forEach((tile) => { tile.tabIndex = -1; });
      next.tabIndex = 0;
      next.focus();
    }
  });
  const element = el("section", { class: "card", "aria-labelledby": "title" },
    el("h2", { id: "title" }, `All of these were read as ${grid.value}`),
    el("p", {}, "Pick out every one that says something else (arrow keys and space, or click), then Enter. "
      + "Some are known to say something else and were put among them."),
    place);
  return { element, done, start: () => tiles[0].focus() };
}

export function drawGridTold(told) {
  const missed = told.missed.map((one) => el("li", {}, shown(one.picture, ""), el("b", {}, ` says ${one.value}`)));
  const kept = told.missed.length
    ? "A planted one was missed, so none of this grid is kept: each of its fields is asked by itself."
    : `All ${told.planted} planted ones were found. ${told.kept} fields are kept as read; what was picked out is asked by itself.`;
  return el("section", { class: "card", "aria-labelledby": "title" },
    el("h2", { id: "title" }, told.missed.length ? "One was missed" : "Kept"), el("p", {}, kept),
    missed.length ? el("ul", { class: "missed" }, missed) : null, el("p", {}, `${told.sentence}.`));
}
