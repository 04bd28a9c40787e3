// What the guide sees in one frame of the camera. A frame is grey, one byte a
// pixel; everything is computed in the browser, a few thousand operations a
// pixel row, for old phones.

// greyOf turns RGBA pixels into a frame (ITU-R BT.601 weights).
export function greyOf(rgba, w, h) {
  const v = new Uint8Array(w * h);
  for (let i = 0, j = 0; i < v.length; i++, j += 4) v[i] = (rgba[j] * 77 + rgba[j + 1] * 150 + rgba[j + 2] * 29) >> 8;
  return { w, h, v };
}

// sharpness is how steep the steepest edges are against the picture's contrast:
// about 1 where an edge takes one pixel, 1/n where it is smeared over n.
export function sharpness({ w, h, v }) {
  const steps = new Uint32Array(256), levels = new Uint32Array(256);
  for (let y = 1; y < h - 1; y++) {
    for (let x = 1; x < w - 1; x++) {
      const i = y * w + x;
      steps[Math.max(Math.abs(v[i + 1] - v[i]), Math.abs(v[i + w] - v[i]))]++;
      levels[v[i]]++;
    }
  }
  const n = (w - 2) * (h - 2);
  const contrast = quantile(levels, n, 0.98) - quantile(levels, n, 0.02);
  return contrast < 12 ? 0 : quantile(steps, n, 0.985) / contrast;
}

function quantile(counts, n, q) {
  let sum = 0;
  for (let k = 0; k < counts.length; k++) {
    sum += counts[k];
    if (sum >= q * n) return k;
  }
  return counts.length - 1;
}

// glare is the share of the frame that is burnt out.
export function glare({ v }) {
  let n = 0;
  for (const x of v) if (x >= 250) n++;
  return n / v.length;
}

// period is the spacing of even stripes across a row profile, in pixels, and how
// even they are (0…1, the height of the second peak of the autocorrelation).
export function period(profile) {
  const n = profile.length, half = Math.max(6, Math.round(n / 24));
  const c = new Float64Array(n);
  for (let i = 0; i < n; i++) { // without what changes slowly
    let sum = 0, k = 0;
    for (let j = Math.max(0, i - half); j <= Math.min(n - 1, i + half); j++) { sum += profile[j]; k++; }
    c[i] = profile[i] - sum / k;
  }
  let zero = 0;
  for (let i = 0; i < n; i++) zero += c[i] * c[i];
  if (zero < n) return { px: 0, even: 0 }; // less than a grey level of stripes
  const most = Math.min(Math.floor(n / 4), 2 * half), r = [];
  for (let lag = 0; lag <= most; lag++) {
    let sum = 0;
    for (let i = 0; i + lag < n; i++) sum += c[i] * c[i + lag];
    r.push((sum / zero) * (n / (n - lag)));
  }
  let lag = 1;
  while (lag < most && r[lag] > 0) lag++; // down from the first peak
  let best = 0, even = 0;
  for (; lag < most; lag++) if (r[lag] >= r[lag - 1] && r[lag] > r[lag + 1] && r[lag] > even * 1.15) { best = lag; even = r[lag]; }
  if (!best) return { px: 0, even: 0 };
  const d = r[best - 1] - 2 * r[best] + r[best + 1];
  return { px: best + (d < 0 ? (0.5 * (r[best - 1] - r[best + 1])) / d : 0), even };
}

// stripes looks for even wires in the frame, upright or lying, and for a ruler:
// a stretch of rows across them in which they stop.
export function stripes(frame) {
  const best = [false, true].map((turned) => across(frame, turned)).sort((a, b) => b.even - a.even)[0];
  return best;
}

function across({ w, h, v }, turned) {
  const n = turned ? h : w, rows = turned ? w : h;
  const at = turned ? (i, r) => v[i * w + r] : (i, r) => v[r * w + i];
  const slabs = 16, found = [];
  for (let s = 0; s < slabs; s++) {
    const lo = Math.floor((s * rows) / slabs), hi = Math.max(lo + 1, Math.floor(((s + 1) * rows) / slabs));
    const profile = new Float64Array(n);
    for (let r = lo; r < hi; r++) for (let i = 0; i < n; i++) profile[i] += at(i, r) / (hi - lo);
    found.push(period(profile));
  }
  const even = found.filter((f) => f.even > 0.35);
  const px = even.map((f) => f.px).sort((a, b) => a - b)[even.length >> 1] ?? 0;
  const same = found.map((f) => f.even > 0.35 && Math.abs(f.px / px - 1) < 0.12);
  const wires = same.filter(Boolean).length;
  // A ruler: slabs without these wires, with wires above or below it.
  const first = same.indexOf(true), last = same.lastIndexOf(true);
  let gap = 0, longest = 0;
  for (let s = 0; s < slabs; s++) {
    gap = same[s] ? 0 : gap + 1;
    if (s > first && s <= last) longest = Math.max(longest, gap);
  }
  const sum = even.reduce((a, f) => a + f.even, 0) / slabs;
  return { turned, px, even: wires >= 3 ? sum : 0, wires, ruler: wires >= 3 && longest >= 1 && longest <= slabs / 2 };
}

// judge says of each thing whether it is good (true), not (false) or not told
// (undefined). close is a piece of the picture at its full size: smear is lost in
// a reduced one. full is how many pixels of the picture one of the frame is; tilt
// is the phone's angle from level in degrees, where it is known.
export function judge(frame, close, full, tilt) {
  const s = stripes(frame), ok = s.even > 0;
  return {
    level: tilt === undefined ? undefined : tilt <= 8,
    sharp: sharpness(close) >= 0.2, // an edge takes 5 pixels or fewer
    glare: glare(frame) <= 0.02,
    ruler: ok && s.ruler,
    // Under 4 pixels a wire the photo holds no more than their tone.
    near: ok ? s.px * full >= 6 : undefined,
    px: s.px,
  };
}
