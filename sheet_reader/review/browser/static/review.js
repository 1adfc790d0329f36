import { el, byId, load } from "./dom.js";
import { ask, isBusy, say } from "./wire.js";
import { SheetView } from "./sheet.js";
import { drawCard } from "./cards.js";
import { drawGrid, drawGridTold } from "./grid.js";
import { drawRescue } from "./rescue.js";
import { drawRemarks } from "./remarks.js";
import { Watch } from "./seen.js";
import { NAMES, USUAL, actOf, keyOf, settings, use } from "./keys.js";

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
let watch = null; // what must be seen before an answer to this card is kept
let dropped = ""; // digits that came before this card

function button(act, text, key, act_of = (event) => run(act, event)) {
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

// A line at the foot of the window, whatever is scrolled into view.
function note(text) {
  byId("note").textContent = text;
  byId("note").hidden = !text;
}

function readyOrNot() {
  document.documentElement.classList.toggle("takes", !watch || watch.open());
}

function watchOver(places, spare) {
  if (watch) watch.pause();
  watch = new Watch(places, spare, readyOrNot);
  watch.rest();
  readyOrNot();
}

// A press that came too early, with what to do: it is never kept, and never lost without a word.
function tooEarly(why) {
  if (watch) watch.rest();
  readyOrNot();
  note(`${why} This press was not taken.`);
}

// Whether an answer may be kept now; says why not. `typed` is what she typed herself.
function mayKeep(event, typed) {
  const left = watch ? watch.left() : [];
  if (isBusy()) tooEarly("Too early: the answer before is being saved.");
  else if (event && (event.repeat || event.detail > 1)) tooEarly("One press, one answer.");
  else if (watch && watch.coming()) tooEarly("Too early: the picture is still coming. Wait, or skip it.");
  else if (left.length) {
    left[0].scrollIntoView({ block: "center" });
    tooEarly("First look at each picture: here is one that was not whole in view.");
  } else if (watch && !watch.open()) tooEarly("Too early: look first, then answer.");
  else if (watch && watch.nothing() && !typed) note("Nothing of it is shown: type what the sheet says, or skip it.");
  else return true;
  return false;
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
      offer();
    } }, `${site.number} ${site.label}`)));
  }
  told.replaceChildren(...lines);
}

// What Enter and the first button do now, and the words for it: one place, so that what the button
// says is what it does.
function offered() {
  if (card.kind === "sum") return offeredOfParts();
  const typed = byId("answer").value.trim().replace(/^\//, "");
  if (look && (typed === "" || (asked.act === "value" && typed === look.text))) {
    const message = asked.act === "value" ? { act: "value", text: look.text } : asked;
    return { words: `Keep ${look.text}`, message: { ...message, sure: true } };
  }
  if (typed === "") return { words: drawn.take, message: { act: "take" } };
  const was = card.before || (card.read && !card.settle ? card.read.value : null);
  const search = card.listed && !/^\d+$/.test(typed);
  const words = search ? `Look for “${typed}”` : `Keep ${typed}${was && was !== typed ? ` instead of ${was}` : ""}`;
  return { words, typed, message: { act: "value", text: typed } };
}

function offeredOfParts() {
  const inputs = [...question.querySelectorAll("[data-part]")].filter((input) => input.value.trim());
  const fields = Object.fromEntries(inputs.map((input) => [input.dataset.part, input.value.trim()]));
  if (look && (inputs.length === 0 || JSON.stringify(asked.fields) === JSON.stringify(fields))) {
    return { words: `Keep ${look.text}`, message: { ...asked, sure: true } };
  }
  if (inputs.length === 0) return { words: drawn.take, message: { act: "take" } };
  const changes = inputs.map((input) => {
    const part = card.parts[Number(input.dataset.part)];
    const said = { n: NAMES.nothing, x: NAMES.unreadable }[input.value.trim().toLowerCase()] || input.value.trim();
    return `${part.label}: ${said} instead of ${part.shown}`;
  });
  const rest = inputs.length < card.parts.length ? "; the others as shown" : "";
  return { words: `Keep ${changes.join(", ")}${rest}`, typed: Object.values(fields).join(" "), message: { act: "sum", fields } };
}

// The buttons that answer.
function offer() {
  const { words } = offered();
  acts.replaceChildren(...words ? [button("take", words, "Enter")] : [],
    ...drawn.acts.map(([act, text]) => button(act, text, keyOf(act))));
  if (card.kind === "photos") {
    for (const act of ["date", "site", "aside"]) acts.append(button(act, `One: ${NAMES[act].toLowerCase()}`, keyOf(act)));
  }
}

async function show(view) {
  if (view === null) return;
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
  if (!same && view.refused) note(view.refused);
  if (!card) {
    drawn = null;
    told.replaceChildren();
    finished(view);
    announce(view.said);
    watchOver([]);
    return;
  }
  if (same && (!view.look || card.kind === "sum")) {
    secondLook(view);
    offer();
    watch.rest();
    readyOrNot();
  } else {
    keys = same ? keys : 0;
    drawn = drawCard(card);
    question.replaceChildren(drawn.element);
    secondLook({ ...view, refused: same && view.refused });
    const line = question.querySelector(".answer-line");
    if (line) line.after(told);
    else drawn.element.append(told);
    const moves = card.blind || card.field ? ALWAYS.filter((act) => act !== card.field) : ALWAYS;
    const places = card.kind === "photos" ? moves.filter((act) => !["date", "site", "aside"].includes(act)) : moves;
    more.replaceChildren(...places.filter((act) => act !== "forward" || view.back)
      .map((act) => button(act, act === "skip" && view.back ? "Take the answer back" : NAMES[act], keyOf(act))));
    sheet.place.hidden = card.kind === "photos";
    sheet.show(card.sheet, `The sheet of ${card.place.join(", ")}`, card.mark);
    sheet.whole.replaceChildren("Whole photo", el("kbd", {}, keyOf("photo")));
    sheet.view.picture = sheet.picture;
    const spare = card.kind === "photos" ? null : sheet.view;
    watchOver(drawn.needs.length || !spare ? drawn.needs : [spare], spare);
  }
  document.title = `${card.title} – review`;
  const box = byId("answer");
  if (same && !view.look) box.value = typed;
  if (!same || card.kind !== "sum") box.focus({ preventScroll: true });
  if (!same) for (const each of [box, ...drawn.needs.slice(0, 1)]) each.scrollIntoView({ block: "nearest" });
  else told.scrollIntoView({ block: "nearest" });
  offer();
  if (same && card.kind !== "sum") box.select();
  announce([view.said, same ? "" : card.title].filter(Boolean).join(" "));
  for (const address of [...view.ahead, ...view.sheets]) load(address);
  await Promise.all(drawn.needs.map((picture) => picture.ready));
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
    const grid = drawGrid(view.grid, (picked, event) => {
      if (mayKeep(event)) move("grid_done", { number: view.grid.number, picked, keys });
    });
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
  watchOver([...question.querySelectorAll(".tile img")]);
}

async function move(act, more_ = {}) {
  note("");
  if (!isBusy()) await show(await say({ act, ...more_ }));
}

async function send(message) {
  const began = performance.now();
  note("");
  dropped = "";
  const view = await say({ card: card ? card.token : "", keys, ...message });
  asked = message;
  await show(view);
  if (view && view.kept) performance.measure("answer", { start: began, end: performance.now() });
}

function enter(event) {
  if (!card) return;
  const { typed, message } = offered();
  if (!mayKeep(event, typed)) return;
  if (typed && dropped) {
    tooEarly(`“${dropped}” came before this question and was not taken. Is ${typed} all of it? Then Enter once more.`);
    dropped = "";
  } else send(message);
}

function run(act, event) {
  if (act === "take") enter(event);
  else if (isBusy()) tooEarly("Too early: the answer before is being saved.");
  else if (act === "help") keysDialog();
  else if (act === "photo") photoDialog();
  else if (act === "zoom_in") sheet.zoom(1.4);
  else if (act === "zoom_out") sheet.zoom(1 / 1.4);
  else if (act === "to_field") sheet.toField();
  else if (act === "back" || act === "forward") send({ act });
  else if (!card) return;
  else if (act === "skip" && !card.before) send({ act });
  else if (act === "remark") remarkDialog();
  else if (["date", "site", "aside"].includes(act)) {
    if (mayKeep(event, act)) sheetDialog(act);
  } else if (act === "skip" || drawn.acts.some(([own]) => own === act)) {
    if (mayKeep(event, act === "unreadable" || act === "skip")) send({ act });
  }
}

function dialog(title, ...inside) {
  const place = byId("dialog");
  place.replaceChildren(el("h2", { id: "dialog-title" }, title), ...inside.flat());
  note("");
  if (watch) watch.pause();
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
  const token = card.token;
  const labels = { date: "Its date (the day alone will do)", site: "Its site number", aside: "Why (may be left out)" };
  form(NAMES[act], [which(), el("label", {}, labels[act], el("input", { name: "text", autocomplete: "off", maxlength: "150" }))],
    (data) => send({ card: token, act, text: String(data.get("text") || ""), sheet: Number(data.get("sheet") || 0) }));
}

function remarkDialog() {
  const token = card.token;
  form("Remark on this sheet", [el("label", {}, "Remark", el("textarea", { name: "text", rows: "4", maxlength: "2000" }))],
    (data) => send({ card: token, act: "remark", text: String(data.get("text") || "") }));
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

// A held key does nothing more than one press: it writes no second digit, and keeps nothing.
const REPEATS = ["Backspace", "Delete", "ArrowLeft", "ArrowRight", "ArrowUp", "ArrowDown", "Tab"];

document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey) return;
  const target = event.target;
  if (event.repeat && (event.key === "Enter" || (question.contains(target) && !REPEATS.includes(event.key)))) {
    if (event.key === "Enter" && target instanceof HTMLTextAreaElement) return;
    event.preventDefault();
    if (event.key === "Enter" && card && !byId("dialog").open) tooEarly("One press, one answer: let go of Enter first.");
    return;
  }
  if (byId("dialog").open) return;
  if (!["Shift", "Tab", "CapsLock"].includes(event.key) && !event.repeat) keys += 1;
  const typing = target instanceof HTMLInputElement && !target.readOnly;
  if (!card) return;
  if (event.key === "Enter") {
    if (target instanceof HTMLButtonElement || target instanceof HTMLAnchorElement) return;
    event.preventDefault();
    enter(event);
    return;
  }
  if (event.repeat && event.key.length === 1 && !typing) return;
  if (isBusy() && event.key.length === 1) {
    event.preventDefault();
    beforeItsCard(event.key);
    return;
  }
  if (card.kind === "sum" && typing) {
    if (["ArrowUp", "ArrowDown"].includes(event.key)) {
      event.preventDefault();
      step(target, event.key === "ArrowDown" ? 1 : -1);
      return;
    }
    if (["n", "x"].includes(event.key)) return;
  }
  if (card.kind === "photos" && /^[1-9]$/.test(event.key)) {
    event.preventDefault();
    sameSheet(Number(event.key) - 1, event);
    return;
  }
  if (typing && (target.value.startsWith("/") || event.key === "/")) return;
  if (typing && event.key === "-" && card && card.field === "date" && target.value) return;
  const act = event.key.length === 1 ? actOf(event.key) : null;
  if (!act) return;
  event.preventDefault();
  run(act, event);
});

// What is written while an answer is being saved belongs to no question.
function beforeItsCard(text) {
  dropped += /\d/.test(text) ? text : "";
  tooEarly(`Too early: “${text}” came while the answer before was being saved. Type it again.`);
}

question.addEventListener("beforeinput", (event) => {
  if (!isBusy() || !card) return;
  event.preventDefault();
  beforeItsCard(event.data || "");
});
question.addEventListener("input", () => { if (card && drawn) offer(); });

function sameSheet(number, event) {
  if (number < card.sheets.length && mayKeep(event)) send({ act: "same", sheet: number });
}

function step(from, by) {
  const inputs = [...question.querySelectorAll("[data-part]")];
  const next = inputs[inputs.indexOf(from) + by];
  if (next) next.focus();
}

question.addEventListener("click", (event) => {
  const pressed = event.target.closest("[data-act=same]");
  if (pressed) sameSheet(Number(pressed.dataset.sheet), event);
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
byId("dialog").addEventListener("close", () => {
  if (watch) watch.again();
  if (card && byId("answer")) byId("answer").focus();
});
document.addEventListener("visibilitychange", () => { if (watch) watch[document.hidden ? "pause" : "again"](); });

byId("main").replaceChildren(sheet.place, el("div", { class: "side" }, question, acts, more));
use(await ask("/keys").catch(() => ({})));
const view = await say({ act: "show" });
await show(view);
