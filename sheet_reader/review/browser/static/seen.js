// Whether what is asked about has been seen: every picture of it has come, and has been in view,
// whole, for SEEN_MS. Before that no answer is kept.

export const SEEN_MS = 300; // our choice: sooner nobody has looked and decided
const FOOT_PX = 48; // at the foot of the window a line may lie over a picture (.note)

export class Watch {
  // `places` are pictures, or elements with a `picture` in them; where one of those can't be had,
  // `spare` (the whole sheet) must have been seen in its place. `changed` is called at every change.
  constructor(places, spare, changed) {
    this.places = places;
    this.spare = spare;
    this.changed = changed;
    this.states = new Map();
    this.timers = new Map();
    this.notBefore = 0;
    this.observer = new IntersectionObserver((entries) => entries.forEach((entry) => this.moved(entry)),
      { threshold: 0.99, rootMargin: `0px 0px -${FOOT_PX}px 0px` });
    for (const place of spare ? [...places, spare] : places) this.await(place);
  }

  await(place) {
    const picture = place.picture || place;
    const came = () => {
      this.states.set(place, picture.naturalWidth ? "unseen" : "lost");
      if (picture.naturalWidth) this.observer.observe(place);
      this.changed();
    };
    delete place.dataset.seen;
    this.states.set(place, "coming");
    if (picture.complete) came();
    else for (const end of ["load", "error"]) picture.addEventListener(end, came, { once: true });
  }

  moved({ target, intersectionRatio }) {
    clearTimeout(this.timers.get(target));
    if (intersectionRatio < 0.98) return;
    this.timers.set(target, setTimeout(() => {
      this.states.set(target, "seen");
      target.dataset.seen = "";
      this.observer.unobserve(target);
      this.changed();
    }, SEEN_MS));
  }

  // The time begins anew: after a press that came too early, and with every new question.
  rest() {
    this.notBefore = performance.now() + SEEN_MS;
    setTimeout(this.changed, SEEN_MS + 1);
  }

  // Nothing can be seen: a dialog lies over it, or the window is hidden.
  pause() {
    this.timers.forEach(clearTimeout);
    this.observer.disconnect();
  }

  again() {
    for (const [place, state] of this.states) if (state === "unseen") this.observer.observe(place);
  }

  // Pictures that have not come, or not been seen; and whether there is nothing at all to see.
  left() {
    const there = this.places.filter((place) => this.states.get(place) !== "lost");
    const instead = there.length < this.places.length && this.spare && this.states.get(this.spare) !== "lost";
    return [...there, ...instead ? [this.spare] : []].filter((place) => this.states.get(place) !== "seen");
  }

  nothing() {
    return this.places.some((place) => this.states.get(place) === "lost")
      && !(this.spare && this.states.get(this.spare) === "seen");
  }

  coming() {
    return this.left().some((place) => this.states.get(place) === "coming");
  }

  open() {
    return this.left().length === 0 && performance.now() >= this.notBefore;
  }
}
