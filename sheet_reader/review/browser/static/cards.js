// How each kind of card looks. Every card gives its element, what can be done, and where to type.

import { el, shown } from "./dom.js";

function figure(address, text, className, caption) {
  const picture = shown(address, text);
  const place = el("figure", { class: className }, picture, caption ? el("figcaption", {}, caption) : null);
  picture.ready.then((there) => {
    if (!there) picture.replaceWith(el("span", { class: "no-picture" }, "(no picture)"));
  });
  place.picture = picture;
  return place;
}

function head(card) {
  return [
    el("h2", { id: "title" }, card.title, card.name ? el("small", {}, ` ${card.name}`) : null),
    el("p", { class: "place" }, card.place.join(" · ")),
  ];
}

const beforeLine = (card) => card.before
  ? el("p", { class: "before" }, "Answered before: ", el("b", {}, card.before)) : null;

function answerBox(card, label, mode) {
  return el("div", { class: "answer-line" },
    el("label", { for: "answer" }, label),
    el("input", {
      id: "answer", autocomplete: "off", inputmode: mode, spellcheck: "false", maxlength: "60",
      "aria-describedby": "read why",
    }));
}

function readLine(card) {
  if (card.blind) {
    return el("p", { id: "read", class: "read" },
      "Type what you see; what the reader made of it comes after.");
  }
  if (card.read.value === null) return el("p", { id: "read", class: "read" }, "Read: no value.");
  const line = el("p", { id: "read", class: "read" }, "Read: ", el("b", {}, card.read.value),
    ` (${card.read.chance})`);
  if (card.read.other !== null) line.append(", or else ", el("b", {}, card.read.other), ` (${card.read.rest})`);
  return line;
}

const whyLine = (card) => el("p", { id: "why", class: "why" }, card.why ? `Why: ${card.why}` : "");

function small(each) {
  const picture = shown(each.boxes, "", "");
  return el("li", {}, el("span", { class: "label" }, each.label), picture,
    el("b", {}, each.value));
}

function field(card) {
  const close = figure(card.close, `The boxes of ${card.title}, as photographed`, "close");
  const others = card.others.length === 0 ? null : el("div", { class: "others" },
    card.others.map((other) => figure(other.close, `The same field in ${other.photo}`, "close",
      `${other.photo} says ${other.value}`)));
  const element = el("section", { class: "card", "aria-labelledby": "title" }, head(card),
    close, others,
    figure(card.row, "The whole row with label and tally", "row"),
    readLine(card), whyLine(card), card.hint ? el("p", { class: "hint" }, card.hint) : null,
    beforeLine(card),
    answerBox(card, card.asks, card.listed ? "text" : "numeric"),
    card.beside.length === 0 ? null : el("aside", { class: "beside", "aria-label": "For comparison" },
      el("ul", {}, card.beside.map(small))));
  const acts = [["nothing", "Nothing written"], ["unreadable", "Can't be read"]];
  if (card.listed) acts.push(["unlisted", "Site not in the list"]);
  if (card.two_sheets) acts.push(["two_sheets", "Two different sheets?"]);
  const needs = [close, ...others ? others.children : []].map((each) => each.picture);
  return { element, take: card.take, acts, needs };
}

function sum(card) {
  const needs = [];
  const parts = card.parts.map((part, number) => {
    const shape = figure(part.close, `The boxes of ${part.label}`, "close");
    needs.push(shape.picture);
    return el("li", { class: part.total ? "part total" : "part" },
      el("span", { class: "label" }, part.total ? `Total: ${part.label}` : part.label),
      shape, el("b", {}, `= ${part.shown}`), part.why ? el("span", { class: "why" }, part.why) : null,
      el("label", { class: "change" }, "says instead ",
        el("input", {
          id: number === 0 ? "answer" : `part-${number}`, "data-part": String(number), autocomplete: "off",
          inputmode: "numeric", maxlength: "12", size: "5", "aria-describedby": "why",
        })));
  });
  const element = el("section", { class: "card", "aria-labelledby": "title" }, head(card),
    whyLine(card), el("ul", { class: "parts" }, parts), beforeLine(card),
    el("p", { class: "hint" }, "Enter takes all as shown. If one was misread, type what it says "
      + "beside it (up and down arrows move; n nothing written, x can't be read), then Enter."));
  return { element, take: card.take, acts: [], needs };
}

function outside(card) {
  const element = el("section", { class: "card", "aria-labelledby": "title" }, head(card),
    el("p", { id: "why" }, card.why), el("ul", { class: "names" }, card.fields.map((name) => el("li", {}, name))),
    beforeLine(card), el("div", { class: "answer-line" },
      el("input", { id: "answer", class: "keys-only", readonly: true, "aria-label": "Enter: ask for another photo. x: go on without." })));
  return {
    element, needs: [], take: card.take,
    acts: [["unreadable", "Go on without"]],
  };
}

function photos(card) {
  const needs = [];
  const needed = (...what) => {
    const shape = figure(...what);
    needs.push(shape.picture);
    return shape;
  };
  const sheets = card.sheets.map((sheet, number) => el("li", { class: "seen" },
    el("h3", {}, `${number + 1} ${sheet.photo}`),
    sheet.key ? needed(sheet.key, `Date or site in ${sheet.photo}`, "close") : null,
    needed(sheet.sheet, `The sheet in ${sheet.photo}`, "whole"),
    el("button", { type: "button", "data-act": "same", "data-sheet": String(number) },
      `Same sheet, ${number + 1} serves`)));
  const rows = card.labels.map((label, row) => el("tr", {}, el("th", { scope: "row" }, label),
    card.sheets.map((sheet) => el("td", {}, sheet.values[row]))));
  const element = el("section", { class: "card", "aria-labelledby": "title" }, head(card),
    el("p", { id: "why" }, card.why),
    el("table", { class: "differing" },
      el("thead", {}, el("tr", {}, el("th", { scope: "col" }, "Field"),
        card.sheets.map((sheet, number) => el("th", { scope: "col" }, `${number + 1} ${sheet.photo}`)))),
      el("tbody", {}, rows)),
    el("ol", { class: "side-by-side" }, sheets), beforeLine(card),
    el("div", { class: "answer-line" }, el("input", {
      id: "answer", class: "keys-only", readonly: true,
      "aria-label": `${card.unlike ? "" : "Enter: the same sheet, the first photo serves. "}A number: the same sheet, that one serves.`,
    })));
  return {
    element, needs, acts: [],
    take: card.take,
  };
}

export const drawCard = (card) => ({ field, sum, outside, photos })[card.kind](card);
