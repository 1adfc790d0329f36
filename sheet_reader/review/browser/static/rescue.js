// Photos in which no sheet was found: show where its corners are, look at it laid straight, then
// have it read; or type the sheet in beside. What was read so can be pointed at anew, or taken back.

import { el } from "./dom.js";

const NAMES = ["top left", "top right", "bottom right", "bottom left"];
const FIRST = [[0.1, 0.1], [0.9, 0.1], [0.9, 0.9], [0.1, 0.9]];
const STEP = 0.005;

export function drawRescue(view, tell) {
  const place = el("div", { class: "rescue" });
  const title = el("h2", { id: "title", tabindex: "-1" }, "Photos without a sheet");
  if (view.photos.length === 0) place.append(el("p", {}, "A sheet was found in every photo."));
  else {
    const choice = el("select", { id: "which-photo" }, view.photos.map((photo, number) =>
      el("option", { value: String(number) }, photo.why ? `${photo.name}: ${photo.why}` : photo.name)));
    const one = el("div", {});
    const draw = () => one.replaceChildren(drawPhoto(view.photos[Number(choice.value)], view, tell));
    choice.addEventListener("change", draw);
    place.append(el("label", { for: "which-photo" }, "Photo"), choice, one);
    draw();
  }
  return el("section", { class: "card", "aria-labelledby": "title" }, title, place);
}

function drawPhoto(photo, view, tell) {
  const corners = FIRST.map((corner) => [...corner]);
  const pointed = new Set(); // corners that she has put somewhere
  const lines = document.createElementNS("http://www.w3.org/2000/svg", "svg");
  const shape = document.createElementNS("http://www.w3.org/2000/svg", "polygon");
  lines.setAttribute("viewBox", "0 0 1 1");
  lines.setAttribute("preserveAspectRatio", "none");
  lines.setAttribute("aria-hidden", "true");
  lines.append(shape);
  const seen = el("div", { class: "straight" });
  const stage = el("div", { class: "stage" }, el("img", { src: photo.picture, alt: `The photo ${photo.name}`, draggable: "false" }), lines);
  const handles = NAMES.map((name, number) => el("button", {
    type: "button", class: "corner", "aria-label": `Corner ${name} of the sheet as printed; the arrow keys move it, with shift further`,
  }, String(number + 1)));
  stage.append(...handles);
  function put(number) {
    if (number !== undefined) pointed.add(number);
    seen.replaceChildren();
    shape.setAttribute("points", corners.map(([x, y]) => `${x},${y}`).join(" "));
    handles.forEach((handle, number) => Object.assign(handle.style, {
      left: `${corners[number][0] * 100}%`, top: `${corners[number][1] * 100}%`,
    }));
  }
  const within = (value) => Math.min(1, Math.max(0, value));
  const at = (event) => {
    const box = stage.getBoundingClientRect();
    return [within((event.clientX - box.left) / box.width), within((event.clientY - box.top) / box.height)];
  };
  let held = null;
  let next = 0;
  handles.forEach((handle, number) => {
    handle.addEventListener("pointerdown", (event) => { held = number; handle.setPointerCapture(event.pointerId); event.stopPropagation(); });
    handle.addEventListener("pointermove", (event) => { if (held === number) { corners[number] = at(event); put(number); } });
    for (const end of ["pointerup", "pointercancel"]) handle.addEventListener(end, () => { held = null; });
    handle.addEventListener("keydown", (event) => {
      const step = event.shiftKey ? 10 * STEP : STEP;
      const moves = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, -step], ArrowDown: [0, step] };
      if (!moves[event.key]) return;
      event.preventDefault();
      corners[number] = corners[number].map((value, axis) => within(value + moves[event.key][axis]));
      put(number);
    });
  });
  stage.addEventListener("pointerdown", (event) => {
    if (event.target.closest(".corner")) return;
    corners[next] = at(event);
    handles[next].focus();
    put(next);
    next = (next + 1) % 4;
    event.preventDefault();
  });
  const page = el("select", { id: "which-page" }, view.pages.map((each, number) => el("option", { value: String(number) }, each.label)));
  const said = el("div", { class: "told", role: "alert" });
  const tellIt = (text) => said.replaceChildren(...text ? [el("p", {}, text)] : []);
  const look = el("button", { type: "button", class: "main", onclick: async () => {
    if (pointed.size < 4) {
      tellIt(`Point at all four corners first: ${NAMES.filter((_, number) => !pointed.has(number)).join(", ")}.`);
      return;
    }
    look.disabled = true;
    const chosen = view.pages[Number(page.value)];
    const answer = await tell({ act: "point_at", photo: photo.id, corners, sheet: chosen.sheet, page: chosen.page });
    look.disabled = false;
    if (!answer) return;
    tellIt(answer.refused);
    const picture = answer.straight ? el("img", { src: answer.straight, alt: "What lies between the corners, laid straight" }) : null;
    const read = el("button", { type: "button", class: "main", disabled: true, onclick: async (event) => {
      if (event.detail > 1) return;
      read.disabled = true;
      const done = await tell({ act: "read_there", number: answer.number });
      if (done && done.refused) tellIt(done.refused);
    } }, photo.read ? "Yes: read it in place of what was read before" : "Yes: read it");
    const again = el("button", { type: "button", onclick: () => { seen.replaceChildren(); handles[0].focus(); } }, "No: point again");
    seen.replaceChildren(...picture ? [el("h3", { tabindex: "-1" }, "Is this the sheet, whole and upright?"), picture] : [],
      el("p", { class: "row-of-buttons" }, answer.refused ? null : read, again));
    if (!picture) return;
    await picture.decode().then(() => { read.disabled = false; }, () => {});
    seen.scrollIntoView({ block: "nearest" });
    seen.querySelector("h3").focus();
  } }, "Show it straight");
  page.addEventListener("change", () => seen.replaceChildren());
  const back = photo.read ? el("button", { type: "button", onclick: async () => {
    const done = await tell({ act: "take_there_back", photo: photo.id });
    if (done && done.refused) tellIt(done.refused);
  } }, "Take back what was read there") : null;
  put();
  return el("div", { class: "pair" },
    el("div", {}, el("p", {}, "Click its corners in turn, from where its top left is printed, clockwise; or move 1 to 4 by arrow keys."), stage,
      el("label", { for: "which-page" }, "Which sheet is it?"), page, el("p", { class: "row-of-buttons" }, look, back), said, seen),
    photo.read ? null : typing(photo, view, tell));
}

function typing(photo, view, tell) {
  const told = el("div", { class: "told", role: "alert" });
  let sure = false;
  const form = el("form", { onsubmit: async (event) => {
    event.preventDefault();
    const values = Object.fromEntries([...new FormData(form)].map(([name, text]) => [name, String(text)]));
    const answer = await tell({ act: "type_in", photo: photo.id, values, sure });
    if (!answer || answer.rescue) return;
    sure = Boolean(answer.doubts);
    told.replaceChildren(...(answer.doubts || [answer.refused]).map((line) => el("p", {}, line)),
      sure ? el("p", {}, el("b", {}, "“Keep it typed” once more keeps it so.")) : "");
  }, oninput: () => { sure = false; } },
  view.fields.map((field) => el("label", {}, field.label, el("input", {
    name: field.name, autocomplete: "off", inputmode: "numeric", maxlength: "60",
  }))), told, el("p", { class: "row-of-buttons" }, el("button", {}, "Keep it typed")));
  return el("details", {}, el("summary", {}, "Or type it in beside the photo"),
    el("p", {}, "An empty field is “not recorded”; a zero must be typed."), form);
}
