// One message at a time to the program. An answer that can't be sent stays on the page, is said to
// be unsaved, and is sent again under the same number until the program has it.

import { byId } from "./dom.js";

const PAUSES = [300, 700, 1500, 3000];
let busy = false;
let unsaved = false;

export const isBusy = () => busy;

window.addEventListener("beforeunload", (event) => {
  if (unsaved) event.preventDefault();
});

function trouble(text) {
  const place = byId("trouble");
  place.textContent = text;
  place.hidden = !text;
}

const wait = (ms) => new Promise((done) => setTimeout(done, ms));

export async function ask(address, message) {
  const response = await fetch(address, message === undefined ? {} : {
    method: "POST",
    headers: { "Content-Type": "application/json" },
    body: JSON.stringify(message),
  });
  const found = await response.json().catch(() => ({}));
  if (response.status === 503) throw Object.assign(new Error(found.error), { later: found.error });
  if (!response.ok) throw Object.assign(new Error(found.error || "refused"), { said: found.error || "The program refused this." });
  return found;
}

// Gives the next view, or null where nothing may be sent now or the program refused it.
export async function say(message) {
  if (busy) return null;
  busy = true;
  document.documentElement.classList.add("busy");
  const numbered = { id: crypto.randomUUID(), ...message };
  try {
    for (let turn = 0; ; turn += 1) {
      try {
        const view = await ask("/say", numbered);
        unsaved = false;
        trouble("");
        return view;
      } catch (error) {
        if (error.said) {
          unsaved = false;
          trouble(error.said);
          return null;
        }
        unsaved = true;
        trouble(error.later ? `This answer is not saved yet; it is sent again until it is. ${error.later}`
          : "The program can't be reached: this answer is not saved yet. It is sent again "
          + "until it is. If the program has ended, start the review again; what was saved stays.");
        await wait(PAUSES[Math.min(turn, PAUSES.length - 1)]);
      }
    }
  } finally {
    busy = false;
    document.documentElement.classList.remove("busy");
  }
}
