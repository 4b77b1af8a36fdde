// A picture that can be zoomed and moved by mouse, touch and keys, and pointed at.
"use strict";
(() => {
  const MOST = 24, STEP = 1.25, MOVED = 8; // times; a factor; px before a press is a drag
  const sights = new WeakMap();
  const clamp = (v, low, high) => Math.min(Math.max(v, low), high);

  class Sight {
    constructor(box) {
      this.box = box;
      this.sheet = box.querySelector(".sheet-of");
      this.image = this.sheet.querySelector("img");
      this.held = new Map();
      this.whole();
      const start = box.dataset.start;
      if (start) this.to(...start.split(",").map(Number));
      box.addEventListener("wheel", (e) => {
        e.preventDefault();
        this.zoomAt(...this.inside(e), Math.exp(-clamp(e.deltaY, -100, 100) * 0.004));
      }, { passive: false });
      box.addEventListener("pointerdown", (e) => this.down(e));
      box.addEventListener("pointermove", (e) => this.move(e));
      for (const end of ["pointerup", "pointercancel"]) box.addEventListener(end, (e) => this.up(e, end));
      box.addEventListener("keydown", (e) => this.key(e));
      new ResizeObserver(() => this.resized()).observe(box);
    }
    get size() { return [this.box.clientWidth, this.box.clientHeight]; }
    base() { // size of the whole picture as it fits
      const [w, h] = this.size, pw = Number(this.sheet.dataset.w), ph = Number(this.sheet.dataset.h);
      const s = Math.min(w / pw, h / ph);
      return [pw * s, ph * s];
    }
    whole() {
      const [w, h] = this.size, [bw, bh] = this.base();
      this.zoom = 1; this.x = (w - bw) / 2; this.y = (h - bh) / 2;
      this.seen = this.size;
      this.paint();
    }
    resized() {
      const [w, h] = this.size;
      if (!w || (w === this.seen[0] && h === this.seen[1])) return;
      if (this.zoom === 1) return this.whole();
      const at = this.centre();
      this.seen = this.size;
      this.aim(...at);
    }
    paint() {
      const [bw, bh] = this.base(), [w, h] = this.size, z = this.zoom;
      this.x = clamp(this.x, w / 2 - bw * z, w / 2); // any place can be brought to the middle
      this.y = clamp(this.y, h / 2 - bh * z, h / 2);
      const style = this.sheet.style;
      style.width = `${bw}px`; style.height = `${bh}px`;
      style.transform = `translate(${this.x}px, ${this.y}px) scale(${z})`;
      style.setProperty("--shrink", 1 / z);
      const full = this.image.dataset.whole;
      if (full && z > 1.5 && this.image.getAttribute("src") !== full) this.image.src = full;
    }
    inside(e) { // from the corner within its border
      const r = this.box.getBoundingClientRect();
      return [e.clientX - r.left - this.box.clientLeft, e.clientY - r.top - this.box.clientTop];
    }
    shares(px, py) {
      const [bw, bh] = this.base();
      return [(px - this.x) / (bw * this.zoom), (py - this.y) / (bh * this.zoom)];
    }
    centre() { return this.shares(this.seen[0] / 2, this.seen[1] / 2); }
    aim(x, y) {
      const [bw, bh] = this.base(), [w, h] = this.size;
      this.x = w / 2 - x * bw * this.zoom; this.y = h / 2 - y * bh * this.zoom;
      this.paint();
    }
    to(x, y) { this.zoom = Math.max(this.zoom, 3); this.aim(x, y); }
    zoomAt(px, py, factor) {
      const z = clamp(this.zoom * factor, 1, MOST), k = z / this.zoom;
      if (z === 1 && this.zoom !== 1) return this.whole();
      this.x = px - (px - this.x) * k; this.y = py - (py - this.y) * k; this.zoom = z;
      this.paint();
    }
    zoomBy(factor) { const [w, h] = this.size; this.zoomAt(w / 2, h / 2, factor); }
    down(e) {
      if (e.button) return;
      this.box.setPointerCapture(e.pointerId);
      this.held.set(e.pointerId, this.inside(e));
      if (this.held.size === 1) this.press = { at: this.inside(e), far: false };
      else if (this.press) this.press.far = true;
    }
    move(e) {
      const before = this.held.get(e.pointerId);
      if (!before) return;
      const now = this.inside(e);
      if (this.held.size === 1) {
        if (!this.press.far && Math.hypot(now[0] - this.press.at[0], now[1] - this.press.at[1]) < MOVED) return;
        this.press.far = true;
        this.x += now[0] - before[0]; this.y += now[1] - before[1];
        this.paint();
      } else { // pinch: the other finger stands still for this moment
        const other = [...this.held].find(([id]) => id !== e.pointerId)[1];
        const wide = (p) => Math.max(Math.hypot(p[0] - other[0], p[1] - other[1]), 1);
        this.zoomAt((now[0] + other[0]) / 2, (now[1] + other[1]) / 2, wide(now) / wide(before));
        this.x += (now[0] - before[0]) / 2; this.y += (now[1] - before[1]) / 2;
        this.paint();
      }
      this.held.set(e.pointerId, now);
    }
    up(e, end) {
      const was = this.held.delete(e.pointerId);
      if (was && end === "pointerup" && !this.held.size && this.press && !this.press.far) {
        this.point(...this.shares(...this.inside(e)));
      }
    }
    point(x, y) {
      if (x < 0 || x > 1 || y < 0 || y > 1) return;
      this.box.dispatchEvent(new CustomEvent("point", { detail: { x, y } }));
    }
    key(e) {
      if (e.ctrlKey || e.metaKey || e.altKey) return;
      const step = (e.shiftKey ? 0.02 : 0.1) * this.size[0];
      const ways = { ArrowLeft: [1, 0], ArrowRight: [-1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] };
      if (e.key in ways) {
        this.x += ways[e.key][0] * step; this.y += ways[e.key][1] * step;
        this.paint();
      } else if (e.key === "+" || e.key === "=") this.zoomBy(STEP);
      else if (e.key === "-") this.zoomBy(1 / STEP);
      else if (e.key === "0") this.whole();
      else if (e.key === "Enter" || e.key === " ") {
        this.seen = this.size;
        this.point(...this.centre());
      } else return;
      e.preventDefault(); e.stopPropagation();
    }
  }

  function found(box) {
    if (!sights.has(box)) sights.set(box, new Sight(box));
    return sights.get(box);
  }
  const all = () => document.querySelectorAll("[data-sight]").forEach((box) => { if (box.clientWidth) found(box); });
  document.addEventListener("click", (e) => {
    const button = e.target.closest && e.target.closest("[data-zoom], [data-goto]");
    const box = document.querySelector("[data-sight]");
    if (!button || !box) return;
    const sight = found(box), how = button.dataset.zoom;
    if (button.dataset.goto) {
      sight.to(...button.dataset.goto.split(",").map(Number));
      box.scrollIntoView({ block: "nearest" });
    } else if (how === "whole") sight.whole();
    else sight.zoomBy(how === "in" ? STEP * STEP : 1 / STEP / STEP);
  });
  // Drawings: what is clicked on in one is told by its name.
  document.addEventListener("click", (e) => {
    const box = e.target.closest && e.target.closest("[data-picks]");
    const hit = box && e.target.closest("[data-part], [data-net]");
    if (hit) box.dispatchEvent(new CustomEvent("choose", { detail: { name: hit.dataset.part || hit.dataset.net } }));
  });
  document.addEventListener("DOMContentLoaded", () => {
    new MutationObserver(all).observe(document.body, { childList: true, subtree: true });
    all();
  });
})();
