import { el, byId, load } from "./dom.js";
import { ask, isBusy, say } from "./wire.js";
import { SheetView } from "./sheet.js";
import { drawCard } from "./cards.js";
import { drawGrid, drawGridTold } from "./grid.js";
import { drawRescue } from "./rescue.js";
import { drawRemarks } from "./remarks.js";
import { NAMES, USUAL, actOf, keyOf, settings, use } from "./keys.js";

const LEAST_MS = 120; // sooner after a card has come no key can be meant for it; our choice
const ALWAYS = ["back", "forward", "skip", "remark", "date", "site", "aside"];

const sheet = new SheetView();
const question = el("div", { class: "question" });
const acts = el("div", { class: "acts", role: "group", "aria-label": "Answers" });
const more = el("div", { class: "acts more", role: "group", "aria-label": "More" });
const told = el("div", { class: "told", role: "alert" });
let card = null;
let drawn = null;
let look = null;
let asked = null; // the message that the second look is about
let keys = 0;

function button(act, text, key, act_of = () => run(act)) {
  return el("button", { type: "button", "data-act": act, "aria-keyshortcuts": key || undefined, onclick: act_of },
    text, key ? el("kbd", {}, key) : null);
}

function announce(text) {
  byId("live").textContent = text || "";
}

function minutes(seconds) {
  if (seconds === null) return "";
  return seconds < 90 ? `about ${Math.max(1, Math.round(seconds / 10)) * 10} s left` : `about ${Math.round(seconds / 60)} min left`;
}

function progress(now) {
  const bar = byId("bar");
  bar.max = Math.max(1, now.answered + now.waiting);
  bar.value = now.answered;
  const parts = [`${now.answered} answered`, now.waiting === 1 ? "1 waits" : `${now.waiting} wait`];
  if (now.keys !== null) parts.push(`${now.keys} keys each`);
  if (now.seconds_left !== null && now.waiting) parts.push(minutes(now.seconds_left));
  for (const [name, count] of Object.entries(now.elsewhere)) parts.push(`${name} has ${count}`);
  if (Object.keys(now.only).length) parts.push("chosen ones only");
  byId("going").textContent = parts.join(" · ");
}

function finished(view) {
  const only = Object.keys(view.progress.only).length > 0;
  const others = Object.entries(view.progress.elsewhere).map(([name, count]) => `${name} has ${count} before them`);
  question.replaceChildren(el("section", { class: "card", "aria-labelledby": "title" },
    el("h2", { id: "title", tabindex: "-1" }, only ? "None of the chosen questions waits." : "Nothing waits for you."),
    others.length ? el("p", {}, `Others are at work: ${others.join(", ")}.`) : null,
    el("p", {}, `${view.progress.answered} answered: ${view.progress.confirmed} as read, ${view.progress.corrected} corrected.`),
    view.progress.agreement ? el("p", {}, view.progress.agreement) : null));
  acts.replaceChildren();
  more.replaceChildren(button("back", NAMES.back, keyOf("back")),
    only ? el("button", { type: "button", onclick: () => choose({}) }, "Show all questions") : "");
  sheet.place.hidden = true;
  document.title = "Review – nothing waits";
  byId("title").focus();
}

function secondLook(view) {
  look = view.look || null;
  if (!look && !view.refused) {
    told.replaceChildren();
    return;
  }
  const lines = [el("p", {}, look ? look.why : view.refused)];
  if (look) {
    lines.push(el("p", {}, el("b", {}, `Enter keeps ${look.text}`), "; or type another."));
  }
  for (const site of view.near || []) {
    lines.push(el("p", {}, el("button", { type: "button", onclick: () => {
      const box = byId("answer");
      box.value = site.number;
      box.focus();
    } }, `${site.number} ${site.label}`)));
  }
  told.replaceChildren(...lines);
}

// The buttons that answer.
function offer() {
  const offered = look ? [["take", `Keep ${look.text}`, "Enter"], ...drawn.acts.filter(([act]) => act !== "take")] : drawn.acts;
  acts.replaceChildren(...offered.map(([act, text, key]) => button(act, text, key || keyOf(act))));
  if (card.kind === "photos") {
    for (const act of ["date", "site", "aside"]) acts.append(button(act, `One: ${NAMES[act].toLowerCase()}`, keyOf(act)));
  }
}

async function show(view) {
  if (view === null) {
    document.documentElement.classList.add("takes");
    return;
  }
  const started = performance.now();
  const same = card && view.card && view.card.token === card.token && (view.look || view.refused);
  const typed = same && byId("answer") ? byId("answer").value : "";
  card = view.card;
  progress(view.progress);
  if (view.grid || view.grid_told || view.remarks || view.rescue) {
    drawn = null;
    special(view);
    return;
  }
  if (!card) {
    drawn = null;
    told.replaceChildren();
    finished(view);
    announce(view.said);
    document.documentElement.classList.add("takes");
    return;
  }
  if (same && (!view.look || card.kind === "sum")) {
    secondLook(view);
    offer();
  } else {
    keys = same ? keys : 0;
    drawn = drawCard(card);
    question.replaceChildren(drawn.element);
    secondLook(view);
    const line = question.querySelector(".answer-line");
    if (line) line.after(told);
    else drawn.element.append(told);
    const moves = card.blind || card.field ? ALWAYS.filter((act) => act !== card.field) : ALWAYS;
    const places = card.kind === "photos" ? moves.filter((act) => !["date", "site", "aside"].includes(act)) : moves;
    offer();
    more.replaceChildren(...places.filter((act) => act !== "forward" || view.back)
      .map((act) => button(act, act === "skip" && view.back ? "Take the answer back" : NAMES[act], keyOf(act))));
    sheet.place.hidden = card.kind === "photos";
    sheet.show(card.sheet, `The sheet of ${card.place.join(", ")}`, card.mark);
    sheet.whole.replaceChildren("Whole photo", el("kbd", {}, keyOf("photo")));
  }
  document.title = `${card.title} – review`;
  const box = byId("answer");
  if (same && !view.look) box.value = typed;
  if (!same || card.kind !== "sum") box.focus();
  if (same && card.kind !== "sum") box.select();
  announce([view.said, same ? "" : card.title].filter(Boolean).join(" "));
  for (const address of [...view.ahead, ...view.sheets]) load(address);
  await Promise.all(drawn.needs.map((picture) => picture.ready));
  setTimeout(() => document.documentElement.classList.add("takes"), LEAST_MS);
  if (view.kept) performance.measure("shown", { start: started, end: performance.now() });
}

// A grid of many fields, or how one went, in place of a card.
function special(view) {
  sheet.place.hidden = true;
  told.replaceChildren();
  const others = () => el("button", { type: "button", onclick: () => move("show") }, "One by one again");
  if (view.rescue) {
    question.replaceChildren(drawRescue(view.rescue, async (message) => {
      const answer = await say(message);
      if (answer && answer.rescue) await show(answer);
      return answer;
    }));
    acts.replaceChildren();
    more.replaceChildren(el("button", { type: "button", onclick: () => move("show") }, "Back to the questions"));
    byId("title").focus();
  } else if (view.remarks) {
    question.replaceChildren(drawRemarks(view.remarks, async (page, text) => {
      const kept = await say({ act: "type_up", page, text });
      return Boolean(kept && kept.kept);
    }));
    acts.replaceChildren();
    more.replaceChildren(el("button", { type: "button", onclick: () => move("show") }, "Back to the questions"));
    byId("title").focus();
  } else if (view.grid) {
    const grid = drawGrid(view.grid, (picked) => move("grid_done", { number: view.grid.number, picked, keys }));
    question.replaceChildren(grid.element);
    acts.replaceChildren(el("button", { type: "button", class: "main", onclick: grid.done }, "All others are right", el("kbd", {}, "Enter")));
    more.replaceChildren(others());
    keys = 0;
    grid.start();
  } else {
    question.replaceChildren(drawGridTold(view.grid_told));
    acts.replaceChildren(el("button", { type: "button", class: "main", id: "next-grid", onclick: () => move("grid") }, "Next grid"));
    more.replaceChildren(others());
    byId("next-grid").focus();
  }
  if (view.rescue && view.said) question.prepend(el("p", { class: "before" }, view.said));
  document.title = `${question.querySelector("h2").textContent} – review`;
  announce(view.said || question.querySelector("h2").textContent);
  document.documentElement.classList.add("takes");
}

async function move(act, more_ = {}) {
  if (!isBusy()) await show(await say({ act, ...more_ }));
}

async function send(message) {
  const began = performance.now();
  document.documentElement.classList.remove("takes");
  const view = await say({ card: card ? card.token : "", keys, ...message });
  asked = message;
  await show(view);
  if (view && view.kept) performance.measure("answer", { start: began, end: performance.now() });
}

function unseen() {
  const missing = drawn.needs.filter((picture) => !picture.complete || !picture.naturalWidth);
  const whole = sheet.picture && sheet.picture.naturalWidth > 0 && !sheet.place.hidden;
  if (missing.length === 0 || whole || byId("answer").value.trim()) return false;
  announce(missing.some((picture) => !picture.complete) ? "The picture is still coming."
    : "Nothing of it is shown: look at the whole photo, or type what the sheet says.");
  return true;
}

function enter() {
  if (!card || isBusy() || !document.documentElement.classList.contains("takes") || unseen()) return;
  if (card.kind === "sum") {
    const fields = {};
    for (const input of question.querySelectorAll("[data-part]")) {
      if (input.value.trim()) fields[input.dataset.part] = input.value.trim();
    }
    const any = Object.keys(fields).length > 0;
    const again = look && asked.fields && JSON.stringify(asked.fields) === JSON.stringify(fields);
    if (look && !asked.fields && !any) send({ ...asked, sure: true });
    else send(any ? { act: "sum", fields, sure: Boolean(again) } : { act: "take" });
    return;
  }
  const typed = byId("answer").value.trim().replace(/^\//, "");
  if (look && asked.act !== "value" && typed === "") send({ ...asked, sure: true });
  else if (look && asked.act === "value" && (typed === "" || typed === look.text)) send({ act: "value", text: look.text, sure: true });
  else if (typed === "") send({ act: "take" });
  else send({ act: "value", text: typed });
}

function run(act) {
  if (isBusy()) return;
  if (act === "take") enter();
  else if (act === "help") keysDialog();
  else if (act === "photo") photoDialog();
  else if (act === "zoom_in") sheet.zoom(1.4);
  else if (act === "zoom_out") sheet.zoom(1 / 1.4);
  else if (act === "to_field") sheet.toField();
  else if (act === "back" || act === "forward") send({ act });
  else if (!card) return;
  else if (act === "skip") send({ act });
  else if (act === "remark") remarkDialog();
  else if (["date", "site", "aside"].includes(act)) sheetDialog(act);
  else if (drawn.acts.some(([own]) => own === act)) send({ act });
}

function dialog(title, ...inside) {
  const place = byId("dialog");
  place.replaceChildren(el("h2", { id: "dialog-title" }, title), ...inside.flat());
  place.showModal();
  return place;
}

const closeDialog = () => byId("dialog").close();
const closing = (text = "Close") => el("button", { type: "button", onclick: closeDialog }, text);

function form(title, inside, done, keep = "Keep") {
  const own = el("form", { onsubmit: (event) => {
    event.preventDefault();
    closeDialog();
    done(new FormData(own));
  } }, inside, el("p", { class: "row-of-buttons" }, el("button", { class: "main" }, keep), closing("Leave it")));
  dialog(title, own);
}

function which() {
  if (card.kind !== "photos") return null;
  return el("fieldset", {}, el("legend", {}, "Which of the photos?"), card.sheets.map((one, number) =>
    el("label", {}, el("input", { type: "radio", name: "sheet", value: String(number), checked: number === 0 }),
      ` ${number + 1} ${one.photo}`)));
}

function sheetDialog(act) {
  const labels = { date: "Its date (the day alone will do)", site: "Its site number", aside: "Why (may be left out)" };
  form(NAMES[act], [which(), el("label", {}, labels[act], el("input", { name: "text", autocomplete: "off", maxlength: "150" }))],
    (data) => send({ act, text: String(data.get("text") || ""), sheet: Number(data.get("sheet") || 0) }));
}

function remarkDialog() {
  form("Remark on this sheet", [el("label", {}, "Remark", el("textarea", { name: "text", rows: "4", maxlength: "2000" }))],
    (data) => send({ act: "remark", text: String(data.get("text") || "") }));
}

function photoDialog() {
  if (!card) return;
  const addresses = card.kind === "photos" ? card.sheets.map((one) => one.sheet) : [card.photo];
  dialog("The whole photo", el("p", { class: "row-of-buttons" }, closing()),
    el("div", { class: "photo", tabindex: "0", role: "group", "aria-label": "The photo; scroll to see all of it" },
      addresses.map((address) => el("img", { src: address, alt: "The photo as it came" }))));
}

function keysDialog() {
  const now = settings();
  const rows = Object.keys(USUAL).map((act) => el("tr", {}, el("th", { scope: "row", id: `key-of-${act}` }, NAMES[act]),
    el("td", {}, el("input", {
      name: act, value: now.keys[act], maxlength: "1", size: "2", autocomplete: "off", "aria-labelledby": `key-of-${act}`,
    }))));
  form("Keys", [
    el("p", {}, "Enter takes what is offered; digits say what is right. Every other act has a button, and this key:"),
    el("label", { class: "switch" }, el("input", { type: "checkbox", name: "on", checked: now.on }), " Single keys are on"),
    el("table", {}, el("tbody", {}, rows)),
  ], keepKeys);
}

async function keepKeys(data) {
  const keys_ = Object.fromEntries(Object.keys(USUAL).map((act) => [act, String(data.get(act) || "")]));
  use(await ask("/keys", { on: data.get("on") === "on", keys: keys_ }).catch(() => ({ on: data.get("on") === "on", keys: keys_ })));
  await show(await say({ act: "show" }));
}

async function choose(only) {
  await show(await say({ act: "only", only }));
}

async function chooseDialog() {
  const counts = await ask("/choices").catch(() => null);
  if (!counts) return;
  const labels = { site: "Site", reason: "Reason", volunteer: "Volunteer" };
  const selects = Object.entries(labels).map(([kind, label]) => el("label", {}, label,
    el("select", { name: kind }, el("option", { value: "" }, "all"),
      Object.entries(counts[kind]).filter(([name]) => name).map(([name, count]) =>
        el("option", { value: name }, `${name} (${count})`)))));
  form("Choose questions", selects, (data) => choose(Object.fromEntries(data)), "Show these");
}

document.addEventListener("keydown", (event) => {
  if (byId("dialog").open || event.ctrlKey || event.metaKey || event.altKey) return;
  if (!["Shift", "Tab", "CapsLock"].includes(event.key) && !event.repeat) keys += 1;
  const target = event.target;
  const typing = target instanceof HTMLInputElement && !target.readOnly;
  if (!card) return;
  if (event.key === "Enter") {
    if (target instanceof HTMLButtonElement || target instanceof HTMLAnchorElement) return;
    event.preventDefault();
    if (!event.repeat) enter();
    return;
  }
  if (event.repeat && event.key.length === 1 && !typing) return;
  if (card && card.kind === "sum" && typing) {
    if (["ArrowUp", "ArrowDown"].includes(event.key)) {
      event.preventDefault();
      step(target, event.key === "ArrowDown" ? 1 : -1);
      return;
    }
    if (["n", "x"].includes(event.key)) return;
  }
  if (card && card.kind === "photos" && /^[1-9]$/.test(event.key)) {
    event.preventDefault();
    if (!isBusy() && Number(event.key) <= card.sheets.length) send({ act: "same", sheet: Number(event.key) - 1 });
    return;
  }
  if (typing && (target.value.startsWith("/") || event.key === "/")) return;
  if (typing && event.key === "-" && card && card.field === "date" && target.value) return;
  const act = event.key.length === 1 ? actOf(event.key) : null;
  if (!act) return;
  event.preventDefault();
  run(act);
});

function step(from, by) {
  const inputs = [...question.querySelectorAll("[data-part]")];
  const next = inputs[inputs.indexOf(from) + by];
  if (next) next.focus();
}

question.addEventListener("click", (event) => {
  const pressed = event.target.closest("[data-act=same]");
  if (pressed && !isBusy()) send({ act: "same", sheet: Number(pressed.dataset.sheet) });
});

byId("remarks").addEventListener("click", () => move("remarks"));
byId("rescue").addEventListener("click", () => move("rescue"));
byId("many").addEventListener("click", () => move("grid"));
byId("help").addEventListener("click", keysDialog);
byId("choose").addEventListener("click", chooseDialog);
byId("done").addEventListener("click", async () => {
  const ended = await ask("/done", {}).catch(() => null);
  byId("main").replaceChildren(el("p", { class: "card" }, ended ? ended.said : "The program has ended."));
});
byId("dialog").addEventListener("close", () => { if (card && byId("answer")) byId("answer").focus(); });

byId("main").replaceChildren(sheet.place, el("div", { class: "side" }, question, acts, more));
use(await ask("/keys").catch(() => ({})));
const view = await say({ act: "show" });
await show(view);
