// Drawing what was read. Each meaning has a shape of its own as well as a
// colour, and a dark rim, so that it stands on any photo.
import { t } from "./strings.js";
import { number } from "./units.js";

export const inks = { good: "#62e2c4", hole: "#62e2c4", bent: "#ffb020", missing: "#ff8cb4", hidden: "#d6d6de", "by-hand": "#78baff", "left-out": "#78baff", marks: "#fff0aa" };

// signOf names the sign of a band.
export const signOf = (b) => (b.state === "good" && b.kind === "hole" ? "hole" : b.state);

const sub = (a, b) => [a[0] - b[0], a[1] - b[1]];
const at = (p, d, k, n = [0, 0], m = 0) => [p[0] + d[0] * k + n[0] * m, p[1] + d[1] * k + n[1] * m];
const unit = (v) => { const l = Math.hypot(...v) || 1; return [v[0] / l, v[1] / l]; };

// stroke draws lines with their rim.
function stroke(g, ink, width, ...lines) {
  for (const [colour, w] of [["rgba(12,16,24,.85)", width + 2], [ink, width]]) {
    g.strokeStyle = colour;
    g.lineWidth = w;
    g.lineCap = g.lineJoin = "round";
    g.beginPath();
    for (const l of lines) l.forEach((p, i) => (i ? g.lineTo(...p) : g.moveTo(...p)));
    g.stroke();
  }
}

// sign draws the sign of a place at p, d pointing along the band.
export function sign(g, name, p, d, size) {
  const n = [-d[1], d[0]], s = size / 2, ink = inks[name] ?? inks.good;
  switch (name) {
    case "bent":
      return stroke(g, ink, 2, [at(p, d, -s), at(p, d, -s * 0.3, n, s * 0.7), at(p, d, s * 0.3, n, -s * 0.7), at(p, d, s)]);
    case "missing":
      g.beginPath();
      g.arc(...p, s * 0.8, 0, 7);
      g.strokeStyle = "rgba(12,16,24,.85)"; g.lineWidth = 4; g.stroke();
      g.strokeStyle = ink; g.lineWidth = 2; g.stroke();
      return;
    case "hidden":
      return stroke(g, ink, 1.6, [at(p, d, s, n, s), at(p, d, s, n, -s), at(p, d, -s, n, -s), at(p, d, -s, n, s), at(p, d, s, n, s), at(p, d, -s, n, -s)]);
    case "by-hand":
      g.fillStyle = ink;
      stroke(g, ink, 1, [at(p, d, s), at(p, n, s), at(p, d, -s), at(p, n, -s), at(p, d, s)]);
      g.fill();
      return;
    case "left-out":
      return stroke(g, ink, 2.2, [at(p, d, s, n, s), at(p, d, -s, n, -s)], [at(p, d, s, n, -s), at(p, d, -s, n, s)]);
    case "hole":
      stroke(g, ink, 1.4, [at(p, d, -s), at(p, d, s * 0.3)]);
      g.fillStyle = ink;
      g.beginPath();
      g.arc(...at(p, d, s * 0.5), Math.max(s * 0.4, 1.6), 0, 7);
      g.fill();
      return;
    case "marks":
      return stroke(g, ink, 1.6, [at(p, d, -s), at(p, d, s)]);
  }
  stroke(g, ink, size > 9 ? 1.8 : 1.2, [at(p, d, -s), at(p, d, s)]);
}

function tag(g, text, p, ink) {
  g.font = "600 13px system-ui, sans-serif";
  g.textAlign = "center";
  g.textBaseline = "middle";
  const w = g.measureText(text).width + 8;
  g.fillStyle = "rgba(12,16,24,.82)";
  g.beginPath();
  g.roundRect(p[0] - w / 2, p[1] - 9, w, 18, 4);
  g.fill();
  g.fillStyle = ink;
  g.fillText(text, p[0], p[1] + 0.5);
}

// drawLength draws a line, and as bars square to it those of its points that are
// ends.
export function drawLength(g, [a, b], barred = [true, true]) {
  const d = unit(sub(b, a)), n = [-d[1], d[0]];
  stroke(g, "#fff", 1.6, [a, b]);
  for (const p of [a, b].filter((_, i) => barred[i])) stroke(g, "#ffd98a", 2.4, [at(p, n, -22), at(p, n, 22)]);
}

// drawEvidence draws all that was read; to carries photo pixels to the screen.
export function drawEvidence(g, to, ev, result, { w, h, current }) {
  const line = (ev.tick_line ?? []).map(to);
  if (line.length < 2) return;
  const along = unit(sub(line[line.length - 1], line[0]));
  let wires = [-along[1], along[0]];
  const lean = (ev.bands ?? []).reduce((sum, b) => { const d = sub(to(b.toward), to(b.at)); return sum + d[0] * wires[0] + d[1] * wires[1]; }, 0);
  if (lean < 0) wires = [-wires[0], -wires[1]];
  const ruler = [-wires[0], -wires[1]];
  const seen = (p) => p[0] > -60 && p[1] > -60 && p[0] < w + 60 && p[1] < h + 60;
  stroke(g, inks.marks, 1, line);

  const marks = (ev.marks ?? []).map((m) => to(m.at));
  const gap = marks.length > 1 ? Math.hypot(...sub(marks[marks.length - 1], marks[0])) / (marks.length - 1) : 0;
  if (gap > 4) for (const p of marks) if (seen(p)) stroke(g, inks.marks, 1, [p, at(p, ruler, 6)]);
  const whole = result?.ruler?.marks ?? [];
  let last = -1e9;
  for (const m of whole) {
    const p = to(m.at);
    if (!seen(p)) continue;
    stroke(g, inks.marks, 1.8, [p, at(p, ruler, 12)]);
    const place = p[0] * along[0] + p[1] * along[1];
    if (Math.abs(place - last) < 30) continue;
    last = place;
    tag(g, number(m.value, 2), at(p, ruler, 23), inks.marks);
  }
  if (ev.one_inch?.length === 2) {
    const [a, b] = ev.one_inch.map(to), far = 44;
    if (Math.hypot(...sub(b, a)) > 26) {
      stroke(g, "#fff", 2, [at(a, ruler, far - 7), at(a, ruler, far), at(b, ruler, far), at(b, ruler, far - 7)]);
      tag(g, t("view.inch"), at([(a[0] + b[0]) / 2, (a[1] + b[1]) / 2], ruler, far + 14), "#fff");
    }
  }

  const bands = ev.bands ?? [];
  const pitch = bands.length > 1 ? Math.hypot(...sub(to(bands[bands.length - 1].at), to(bands[0].at))) / (bands.length - 1) : 20;
  const size = Math.max(7, Math.min(14, pitch * 0.9));
  let odd = -1e9, row = 0;
  const step = [1, 2, 5, 10, 20, 50, 100].find((n) => n * pitch > 36) ?? 200;
  for (const [i, b] of bands.entries()) {
    const p = to(b.at);
    if (!seen(p)) continue;
    const d = unit(sub(to(b.toward), p)), name = signOf(b);
    if (name === "good" || name === "hole") {
      sign(g, name, at(p, d, 2 + size / 2), d, size);
    } else {
      const place = p[0] * along[0] + p[1] * along[1];
      row = place - odd < 15 ? (row + 1) % 3 : 0;
      odd = place;
      const far = 16 + row * 15;
      stroke(g, "#fff", 0.8, [p, at(p, d, far - 6)]);
      sign(g, name, at(p, d, far), d, 12);
    }
    if (i === current) {
      g.setLineDash([5, 4]);
      stroke(g, "#ffd98a", 2, [at(p, d, -8, along, -pitch / 2), at(p, d, 70, along, -pitch / 2), at(p, d, 70, along, pitch / 2), at(p, d, -8, along, pitch / 2), at(p, d, -8, along, -pitch / 2)]);
      g.setLineDash([]);
    }
    if (step >= 5 && i && b.index % step === 0) tag(g, String(b.index), at(p, d, size + 52), inks.good);
  }
}
