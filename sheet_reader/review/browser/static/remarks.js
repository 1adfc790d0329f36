// Handwritten remarks as pictures, to type up or leave; what is typed is searched as you type.

import { el } from "./dom.js";

export function drawRemarks(rows, keep) {
  const search = el("input", { type: "search", id: "search", autocomplete: "off" });
  const count = el("p", { role: "status" });
  const list = el("ul", { class: "remarks" });
  const items = rows.map((row) => {
    const text = el("textarea", { rows: "2", maxlength: "2000", id: `remark-${row.page}` }, row.text);
    const save = el("button", { type: "button", onclick: async () => {
      save.disabled = true;
      const kept = await keep(row.page, text.value);
      save.disabled = false;
      if (kept) row.text = text.value;
      said.textContent = kept ? "Kept." : "Not kept.";
    } }, "Keep");
    const said = el("span", { role: "status" });
    const item = el("li", { class: "card" },
      el("h3", {}, row.place.join(" · ")),
      picture(row.comments, "Remarks, as written"), picture(row.counted_by, "Counted by, as written"),
      row.said.length ? el("p", { class: "why" }, `Also kept: ${row.said.join(" · ")}`) : null,
      el("label", { for: `remark-${row.page}` }, "What the remarks say (left empty: nothing typed up)"), text,
      el("p", { class: "row-of-buttons" }, save, said));
    return { row, item };
  });
  function find() {
    const words = search.value.toLowerCase().split(/\s+/).filter(Boolean);
    const found = items.filter(({ row }) => {
      const all = [row.text, ...row.said, ...row.place].join(" ").toLowerCase();
      return words.every((word) => all.includes(word));
    });
    list.replaceChildren(...found.map(({ item }) => item));
    count.textContent = found.length === 1 ? "1 sheet" : `${found.length} sheets`;
  }
  search.addEventListener("input", find);
  find();
  return el("section", { "aria-labelledby": "title", class: "remarks-page" },
    el("h2", { id: "title", tabindex: "-1" }, "Remarks on the sheets"),
    el("p", {}, "What you type up goes into the export, with names and addresses masked; who counted is shown and never exported."),
    el("div", { class: "answer-line" }, el("label", { for: "search" }, "Search"), search, count), list);
}

function picture(address, text) {
  if (!address) return null;
  const image = el("img", { src: address, alt: text, loading: "lazy" });
  image.addEventListener("error", () => image.replaceWith(el("span", { class: "no-picture" }, `(${text}: no picture)`)));
  return el("figure", { class: "area" }, image, el("figcaption", {}, text));
}
