// Which key does what. Letters work while the answer box has the focus, can be changed, and can be
// switched off (WCAG 2.2, 2.1.4); everything can be done by buttons, too.

export const NAMES = {
  nothing: "Nothing written", unreadable: "Can't be read", unlisted: "Site not in the list",
  two_sheets: "Two different sheets?", back: "Back to the answer before", forward: "Forward again",
  skip: "Skip: ask it at the end", remark: "Remark", date: "Another date", site: "Another site",
  aside: "Set the sheet aside", photo: "Whole photo", zoom_in: "Zoom in", zoom_out: "Zoom out",
  to_field: "Zoom to the field", help: "Keys",
};

export const USUAL = {
  nothing: "n", unreadable: "x", unlisted: "l", two_sheets: "t", back: "b", forward: "f", skip: "k",
  remark: "m", date: "d", site: "o", aside: "a", photo: "w", zoom_in: "+", zoom_out: "-", to_field: "z", help: "?",
};

let map = { ...USUAL };
let on = true;

export function use(settings) {
  on = settings.on !== false;
  map = { ...USUAL, ...(settings.keys || {}) };
}

export const settings = () => ({ on, keys: { ...map } });
export const keyOf = (act) => (on ? map[act] || "" : "");

export function actOf(key) {
  if (!on) return null;
  const found = Object.entries(map).find(([, own]) => own && own === key.toLowerCase());
  return found ? found[0] : null;
}
