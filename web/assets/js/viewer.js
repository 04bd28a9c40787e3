// The picture: the photo with what was read drawn in, to pan and zoom by
// finger, wheel, mouse or keyboard. All points are the photo's own pixels,
// counted from the corner of the first one.
import { t } from "./strings.js";
import { h } from "./dom.js";
import { drawEvidence, drawLength } from "./draw.js";

export class Viewer {
  // onTap(point, radius) hears taps in photo pixels; onHandle(i, point, done)
  // hears a handle that is being moved.
  constructor({ onTap, onHandle } = {}) {
    this.onTap = onTap;
    this.onHandle = onHandle;
    this.scale = 1; // CSS pixels per photo pixel
    this.x = 0; // of the photo's corner, in CSS pixels
    this.y = 0;
    this.pointers = new Map();
    this.canvas = h("canvas", { "aria-hidden": "true" });
    this.box = h("div", { class: "viewer", tabindex: "0", role: "group", "aria-label": t("view.label") }, this.canvas);
    const tool = (key, words, run) => h("button", { type: "button", title: words, "aria-label": words, onclick: run }, key);
    this.root = h("div", { class: "card" }, this.box, h("div", { class: "tools" },
      tool("+", t("view.in"), () => this.zoom(1.6)), tool("−", t("view.out"), () => this.zoom(1 / 1.6)),
      h("button", { type: "button", onclick: () => this.fit() }, t("view.fit")),
      h("button", { type: "button", onclick: () => this.fitRuler() }, t("view.ruler"))));
    this.handles = [];
    this.listen();
    this.resize = new ResizeObserver(() => this.measureBox());
    this.resize.observe(this.box);
  }

  close() { this.resize.disconnect(); }

  // load shows the photo at this address.
  async load(url) {
    const img = new Image();
    img.src = url;
    await img.decode();
    this.img = img;
    this.measureBox();
    this.fit();
  }

  // evidence is what was read; current is the band that is pointed at.
  show(evidence, result) {
    this.evidence = evidence;
    this.result = result;
    this.draw();
  }

  measureBox() {
    const r = this.box.getBoundingClientRect();
    if (!r.width || !r.height) return;
    const first = !this.w;
    const [cx, cy] = first ? [0, 0] : this.toPhoto(this.w / 2, this.h / 2);
    this.w = r.width;
    this.h = r.height;
    const d = Math.min(devicePixelRatio || 1, 3);
    this.canvas.width = Math.round(this.w * d);
    this.canvas.height = Math.round(this.h * d);
    this.dpr = d;
    if (first || !this.img) this.fit();
    else this.center(cx, cy);
  }

  toPhoto(x, y) { return [(x - this.x) / this.scale, (y - this.y) / this.scale]; }
  toScreen([x, y]) { return [x * this.scale + this.x, y * this.scale + this.y]; }

  fit() {
    if (!this.img || !this.w) return;
    this.least = Math.min(this.w / this.img.width, this.h / this.img.height);
    this.scale = this.least;
    this.center(this.img.width / 2, this.img.height / 2);
  }

  // fitRuler fills the picture with what was read.
  fitRuler() {
    const line = this.evidence?.tick_line;
    if (!this.img || !line?.length) return this.fit();
    const a = line[0], b = line[line.length - 1];
    const long = Math.max(Math.hypot(b[0] - a[0], b[1] - a[1]), 1);
    this.scale = Math.max(this.least, Math.min(Math.max(this.w, this.h) / (long * 0.55), 6));
    this.center((a[0] + b[0]) / 2, (a[1] + b[1]) / 2);
  }

  center(px, py) {
    this.x = this.w / 2 - px * this.scale;
    this.y = this.h / 2 - py * this.scale;
    this.settle();
  }

  zoom(f, cx = this.w / 2, cy = this.h / 2) {
    const [px, py] = this.toPhoto(cx, cy);
    this.scale = Math.min(Math.max(this.scale * f, this.least), Math.max(this.least, 12));
    this.x = cx - px * this.scale;
    this.y = cy - py * this.scale;
    this.settle();
  }

  pan(dx, dy) {
    this.x += dx;
    this.y += dy;
    this.settle();
  }

  // settle keeps the photo in view and draws.
  settle() {
    if (!this.img) return;
    const keep = (at, size, room) => size <= room ? (room - size) / 2 : Math.min(0, Math.max(at, room - size));
    this.x = keep(this.x, this.img.width * this.scale, this.w);
    this.y = keep(this.y, this.img.height * this.scale, this.h);
    this.draw();
  }

  // reveal brings a point into view, near enough to be seen.
  reveal(point, least = 0) {
    if (this.scale < least) this.scale = Math.max(least, this.least);
    const [x, y] = this.toScreen(point);
    if (x < 40 || y < 40 || x > this.w - 40 || y > this.h - 40 || least) this.center(...point);
  }

  // revealAll brings all of some points into view, from farther off where it must.
  revealAll(points) {
    if (!this.img || !this.w || !points.length) return;
    const room = 40, seen = ([x, y]) => x >= room && y >= room && x <= this.w - room && y <= this.h - room;
    if (points.every((p) => seen(this.toScreen(p)))) return;
    const [xs, ys] = [0, 1].map((k) => points.map((p) => p[k]));
    const span = (v) => Math.max(Math.max(...v) - Math.min(...v), 1), mid = (v) => (Math.max(...v) + Math.min(...v)) / 2;
    const fits = Math.min((this.w - 2 * room) / span(xs), (this.h - 2 * room) / span(ys));
    this.scale = Math.max(this.least, Math.min(this.scale, fits));
    this.center(mid(xs), mid(ys));
  }

  draw() {
    if (this.asked) return;
    this.asked = requestAnimationFrame(() => {
      this.asked = 0;
      const g = this.canvas.getContext("2d");
      g.setTransform(this.dpr, 0, 0, this.dpr, 0, 0);
      g.clearRect(0, 0, this.w, this.h);
      if (!this.img) return;
      g.imageSmoothingQuality = "high";
      g.drawImage(this.img, this.x, this.y, this.img.width * this.scale, this.img.height * this.scale);
      if (this.evidence) drawEvidence(g, (p) => this.toScreen(p), this.evidence, this.result, { w: this.w, h: this.h, current: this.current });
      if (this.ends) drawLength(g, this.ends.map((p) => this.toScreen(p)), this.barred);
      if (this.dragged !== undefined) this.loupe(g);
      this.handles.forEach((e) => {
        const [x, y] = this.toScreen(e.point);
        e.style.left = x + "px";
        e.style.top = y + "px";
      });
    });
  }

  // loupe shows what is under the finger, beside it.
  loupe(g) {
    const e = this.handles[this.dragged];
    const [x, y] = this.toScreen(e.point);
    const r = 56, k = Math.max(this.scale * 3, 2);
    const cx = Math.min(Math.max(x, r + 4), this.w - r - 4), cy = y > 2.6 * r ? y - 1.7 * r : y + 1.7 * r;
    g.save();
    g.beginPath();
    g.arc(cx, cy, r, 0, 7);
    g.fillStyle = "#101318";
    g.fill();
    g.clip();
    g.imageSmoothingEnabled = k < 4;
    g.drawImage(this.img, cx - e.point[0] * k, cy - e.point[1] * k, this.img.width * k, this.img.height * k);
    g.strokeStyle = "#fff";
    g.lineWidth = 1;
    g.beginPath();
    g.moveTo(cx - r, cy); g.lineTo(cx + r, cy); g.moveTo(cx, cy - r); g.lineTo(cx, cy + r);
    g.stroke();
    g.restore();
    g.strokeStyle = "#ffd98a";
    g.lineWidth = 3;
    g.beginPath();
    g.arc(cx, cy, r, 0, 7);
    g.stroke();
  }

  listen() {
    const box = this.box;
    const at = (ev) => { const r = box.getBoundingClientRect(); return [ev.clientX - r.left, ev.clientY - r.top]; };
    box.addEventListener("pointerdown", (ev) => {
      if (ev.target.closest("button")) return;
      box.setPointerCapture(ev.pointerId);
      this.pointers.set(ev.pointerId, at(ev));
      this.moved = this.pointers.size > 1 ? Infinity : 0;
    });
    box.addEventListener("pointermove", (ev) => {
      const was = this.pointers.get(ev.pointerId);
      if (!was) return;
      const now = at(ev);
      if (this.pointers.size === 2) {
        const other = [...this.pointers].find(([id]) => id !== ev.pointerId)[1];
        const d = (a) => Math.hypot(a[0] - other[0], a[1] - other[1]);
        this.zoom(d(now) / Math.max(d(was), 1), (now[0] + other[0]) / 2, (now[1] + other[1]) / 2);
        this.pan((now[0] - was[0]) / 2, (now[1] - was[1]) / 2);
      } else {
        this.moved += Math.hypot(now[0] - was[0], now[1] - was[1]);
        if (this.moved > 8) this.pan(now[0] - was[0], now[1] - was[1]);
      }
      this.pointers.set(ev.pointerId, now);
    });
    const up = (ev) => {
      if (!this.pointers.delete(ev.pointerId)) return;
      if (ev.type === "pointerup" && this.moved <= 8) this.onTap?.(this.toPhoto(...at(ev)), 24 / this.scale);
    };
    box.addEventListener("pointerup", up);
    box.addEventListener("pointercancel", up);
    box.addEventListener("wheel", (ev) => {
      ev.preventDefault();
      this.zoom(Math.exp(-ev.deltaY * (ev.deltaMode ? 0.05 : 0.0015)), ...at(ev));
    }, { passive: false });
    box.addEventListener("keydown", (ev) => {
      if (ev.target !== box || ev.ctrlKey || ev.metaKey || ev.altKey) return;
      const step = 48;
      const act = { ArrowLeft: () => this.pan(step, 0), ArrowRight: () => this.pan(-step, 0), ArrowUp: () => this.pan(0, step), ArrowDown: () => this.pan(0, -step),
        "+": () => this.zoom(1.4), "=": () => this.zoom(1.4), "-": () => this.zoom(1 / 1.4), 0: () => this.fit() }[ev.key];
      if (act) { ev.preventDefault(); act(); }
    });
  }

  // setHandles shows points that can be moved, called by words with {n} in them or
  // by a function of their number, which gives the full name and, as a part of it,
  // what is shown; an empty list takes them away.
  setHandles(points, words = t("mend.point")) {
    const named = (i) => (typeof words === "function" ? words(i) : [words.replace("{n}", i + 1), String(i + 1)]);
    if (this.dragged !== undefined && points.length === this.handles.length) return; // not out of a hand
    const focused = this.handles.indexOf(document.activeElement);
    this.handles.forEach((e) => e.remove());
    this.handles = points.map((point, i) => {
      const e = h("button", { type: "button", class: "handle" }, h("span", { "aria-hidden": "true" }, named(i)[1]));
      e.point = [...point];
      const rename = () => e.setAttribute("aria-label", `${named(i)[0]}: ${t("mend.point.at", { x: Math.round(e.point[0]), y: Math.round(e.point[1]) })}`);
      rename();
      e.addEventListener("pointerdown", (ev) => { e.setPointerCapture(ev.pointerId); e.grip = [ev.clientX, ev.clientY, ...e.point]; });
      e.addEventListener("pointermove", (ev) => {
        if (!e.grip) return;
        this.dragged = i;
        this.place(i, [e.grip[2] + (ev.clientX - e.grip[0]) / this.scale, e.grip[3] + (ev.clientY - e.grip[1]) / this.scale], false);
      });
      const end = () => {
        if (!e.grip) return;
        e.grip = undefined;
        const was = this.dragged;
        this.dragged = undefined;
        this.draw();
        if (was !== undefined) { rename(); this.onHandle?.(i, e.point, true); }
      };
      e.addEventListener("pointerup", end);
      e.addEventListener("pointercancel", end);
      e.addEventListener("keydown", (ev) => {
        const by = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[ev.key];
        if (!by) return;
        ev.preventDefault();
        this.nudge(i, by[0] * (ev.shiftKey ? 10 : 1), by[1] * (ev.shiftKey ? 10 : 1));
      });
      e.rename = rename;
      this.box.append(e);
      return e;
    });
    this.handles[focused]?.focus({ preventScroll: true });
    this.draw();
  }

  nudge(i, dx, dy) {
    const e = this.handles[i];
    this.place(i, [e.point[0] + dx, e.point[1] + dy], true);
    e.rename();
    this.reveal(e.point);
  }

  place(i, [x, y], done) {
    const e = this.handles[i];
    e.point = [Math.min(Math.max(x, 0), this.img.width), Math.min(Math.max(y, 0), this.img.height)];
    this.draw();
    if (done) this.onHandle?.(i, e.point, true);
  }
}
