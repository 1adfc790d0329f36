// Elements are built, never parsed: no text of the study can become markup.

export function el(name, attributes = {}, ...inside) {
  const made = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) {
    if (value === undefined || value === null || value === false) continue;
    if (key.startsWith("on")) made.addEventListener(key.slice(2), value);
    else if (value === true) made.setAttribute(key, "");
    else made.setAttribute(key, String(value));
  }
  made.append(...inside.flat().filter((part) => part !== null && part !== undefined));
  return made;
}

export const byId = (id) => document.getElementById(id);

const loaded = new Map();
const MOST = 160;

// A picture is asked for once; the same element is shown when its card comes. The server lets no
// picture be cached, so the element itself is what is kept.
export function load(address) {
  let picture = loaded.get(address);
  if (!picture) {
    picture = new Image();
    picture.decoding = "sync";
    picture.src = address;
    picture.ready = picture.decode().then(() => true, () => {
      loaded.delete(address); // asked for anew when its card comes again
      return false;
    });
    loaded.set(address, picture);
    if (loaded.size > MOST) loaded.delete(loaded.keys().next().value);
  }
  return picture;
}

export function shown(address, text, className = "") {
  const picture = load(address);
  const own = picture.isConnected ? picture.cloneNode() : picture;
  if (own !== picture) own.ready = picture.ready;
  own.alt = text;
  own.className = className;
  own.removeAttribute("style");
  return own;
}
