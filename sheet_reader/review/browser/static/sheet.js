// The sheet laid straight, with the field marked: zoom and pan by keys, buttons, wheel and drag.

import { el, shown } from "./dom.js";

const STEP = 1.4;
const FURTHEST = 8;

export class SheetView {
  constructor() {
    this.scale = 1;
    this.x = 0;
    this.y = 0;
    this.mark = null;
    this.picture = null;
    this.markBox = el("div", { class: "mark", "aria-hidden": "true" });
    this.view = el("div", {
      class: "view", tabindex: "0", role: "group",
      "aria-label": "The sheet. Plus and minus zoom, the arrow keys move it.",
    });
    this.whole = el("button", { type: "button" }, "Whole photo");
    this.place = el("section", { class: "sheet", "aria-label": "The sheet" },
      el("div", { class: "sheet-tools" },
        el("button", { type: "button", "aria-label": "Zoom in", onclick: () => this.zoom(STEP) }, "+"),
        el("button", { type: "button", "aria-label": "Zoom out", onclick: () => this.zoom(1 / STEP) }, "−"),
        el("button", { type: "button", onclick: () => this.fit() }, "Fit"),
        el("button", { type: "button", onclick: () => this.toField() }, "Field"),
        this.whole),
      this.view);
    this.view.addEventListener("keydown", (event) => this.key(event));
    this.view.addEventListener("wheel", (event) => {
      event.preventDefault();
      this.zoom(event.deltaY < 0 ? STEP : 1 / STEP);
    }, { passive: false });
    this.view.addEventListener("pointerdown", (event) => {
      this.view.setPointerCapture(event.pointerId);
      this.held = [event.clientX, event.clientY];
    });
    this.view.addEventListener("pointermove", (event) => {
      if (!this.held) return;
      this.move(event.clientX - this.held[0], event.clientY - this.held[1]);
      this.held = [event.clientX, event.clientY];
    });
    for (const end of ["pointerup", "pointercancel"]) {
      this.view.addEventListener(end, () => { this.held = null; });
    }
    new ResizeObserver(() => this.draw()).observe(this.view);
  }

  show(address, text, mark) {
    this.mark = mark;
    if (address !== this.address) {
      this.address = address;
      this.picture = shown(address, text);
      this.view.replaceChildren(this.picture, this.markBox);
      this.picture.ready.then((there) => {
        this.view.classList.toggle("none", !there);
        this.draw();
      });
      this.fit();
    }
    this.draw();
  }

  fit() {
    this.scale = 1;
    this.x = this.y = 0;
    this.draw();
  }

  toField() {
    if (!this.mark || !this.picture) return;
    const { wide, high } = this.size();
    this.scale = Math.min(4, Math.max(1, 0.5 / Math.max(this.mark[2], this.mark[3])));
    this.x = this.view.clientWidth / 2 - (this.mark[0] + this.mark[2] / 2) * wide * this.scale;
    this.y = this.view.clientHeight / 2 - (this.mark[1] + this.mark[3] / 2) * high * this.scale;
    this.draw();
  }

  zoom(by) {
    const scale = Math.min(FURTHEST, Math.max(1, this.scale * by));
    const [cx, cy] = [this.view.clientWidth / 2, this.view.clientHeight / 2];
    this.x = cx - (cx - this.x) * (scale / this.scale);
    this.y = cy - (cy - this.y) * (scale / this.scale);
    this.scale = scale;
    this.draw();
  }

  move(dx, dy) {
    this.x += dx;
    this.y += dy;
    this.draw();
  }

  key(event) {
    const step = 60;
    const moves = { ArrowLeft: [step, 0], ArrowRight: [-step, 0], ArrowUp: [0, step], ArrowDown: [0, -step] };
    if (moves[event.key]) this.move(...moves[event.key]);
    else if (event.key === "+") this.zoom(STEP);
    else if (event.key === "-") this.zoom(1 / STEP);
    else return;
    event.preventDefault();
    event.stopPropagation();
  }

  size() {
    const natural = [this.picture.naturalWidth || 1, this.picture.naturalHeight || 1];
    const fit = Math.min(this.view.clientWidth / natural[0], this.view.clientHeight / natural[1]);
    return { wide: natural[0] * fit, high: natural[1] * fit };
  }

  draw() {
    if (!this.picture || !this.picture.naturalWidth) {
      this.markBox.hidden = true;
      return;
    }
    const { wide, high } = this.size();
    const [w, h] = [wide * this.scale, high * this.scale];
    const keep = (at, inside, outside) => inside <= outside
      ? (outside - inside) / 2 : Math.min(0, Math.max(outside - inside, at));
    this.x = keep(this.x, w, this.view.clientWidth);
    this.y = keep(this.y, h, this.view.clientHeight);
    Object.assign(this.picture.style, { left: `${this.x}px`, top: `${this.y}px`, width: `${w}px`, height: `${h}px` });
    this.markBox.hidden = !this.mark;
    if (this.mark) {
      const [left, top, width, height] = this.mark;
      const room = 0.006;
      Object.assign(this.markBox.style, {
        left: `${this.x + (left - room) * w}px`, top: `${this.y + (top - room) * h}px`,
        width: `${(width + 2 * room) * w}px`, height: `${(height + 2 * room) * h}px`,
      });
    }
  }
}
