// One length over several photos along one tape, in order.
import { t } from "./strings.js";
import { h, show, say, problem, capital, sentence } from "./dom.js";
import { get, post, measured } from "./api.js";
import { setting } from "./units.js";
import { toMeasure } from "./take.js";
import { whats, lengthParts } from "./ends.js";
import { Viewer } from "./viewer.js";

// What was sent stays while another view is looked at.
let row = null; // {what, facts, photos: [{name, file, held, err, numbers: [{point, number}]}]}

// startJoined begins with photos to send, and with one that is held where given.
export function startJoined(files, facts, what, held) {
  row = { what, facts, photos: [...(held ? [{ name: held.name, held }] : []), ...[...files].map((file) => ({ name: file.name, file }))] };
  location.hash = "#/joined";
}

export function joinedView(which) {
  if (which === "new" && toMeasure.photos.length) {
    startJoined(toMeasure.photos, toMeasure.facts, toMeasure.what);
    toMeasure.photos = [];
    location.replace("#/joined");
    return;
  }
  if (!row) { location.replace("#/"); return; }
  return draw(row);
}

function draw(r) {
  let ends = null, numbers = false, last = null, asked = 0, timer, gone = false;
  const stop = new AbortController();
  const lead = h("p", { role: "status" }), bar = h("progress", { "aria-label": t("joined.title") }), trouble = h("div"), out = h("div", { class: "stack", role: "status" });
  const list = h("ol", { class: "shots wide" });
  if (!whats.includes(r.what)) r.what = whats[0];
  const select = h("select", { id: "joined-what", onchange: () => { r.what = select.value; ends = null; measure(); } }, whats.map((w) => h("option", { value: w, selected: w === r.what }, t("what." + w))));
  const find = h("button", { type: "button", class: "first", id: "joined-measure", onclick: () => { ends = null; measure(); } }, t("ends.find"));
  const hand = h("button", { type: "button", id: "joined-hand", onclick: () => { ends = places(); measure(); } }, t("ends.hand"));
  const read = h("button", { type: "button", id: "joined-numbers", "aria-pressed": "false", onclick: () => {
    numbers = !numbers;
    read.setAttribute("aria-pressed", String(numbers));
    how.hidden = !numbers;
    if (numbers) r.photos.forEach((p, i) => { p.numbers ??= marksOf(p, i === 0 ? 2 : 1); });
    shots();
    if (!numbers) measure();
  } }, t("joined.numbers"));
  const how = h("p", { class: "hint", hidden: true }, t("joined.numbers.hint"));
  const more = h("input", { type: "file", accept: "image/*,.heic,.heif,.tif,.tiff", multiple: true, id: "joined-more", "aria-label": t("joined.more"), onchange: () => {
    r.photos.push(...[...more.files].map((file) => ({ name: file.name, file })));
    more.value = "";
    changed();
    send();
  } });
  show(t("joined.title"), h("div", { class: "card" }, h("h1", {}, t("joined.title")), h("p", { class: "hint" }, t("joined.lead")),
    h("label", {}, t("ends.what"), select), h("div", { class: "row" }, find, hand, read), how,
    h("div", { class: "button pick" }, h("span", { "aria-hidden": "true" }, t("joined.more")), more), lead, bar, trouble, out), list).classList.add("two");

  // places are where the two ends are now, or two places to begin with.
  function places() {
    const now = [r.photos[0], r.photos[r.photos.length - 1]].map((p, i) => p.line?.[i] ?? [p.viewer.img.width * (0.25 + 0.5 * i), p.viewer.img.height / 2]);
    return now.map((p) => [...p]);
  }
  const marksOf = (p, n) => {
    const m = p.held?.result.ruler?.marks ?? [];
    const two = m.length ? [m[Math.floor(m.length / 4)].at, m[Math.floor((3 * m.length) / 4)].at] : [[100, 100], [300, 100]];
    return two.slice(0, n).map((point) => ({ point: [...point], number: "" }));
  };
  const ready = () => r.photos.length > 1 && r.photos.every((p) => p.held);

  // changed forgets what was told of photos that stand elsewhere now.
  function changed() {
    ends = last = null;
    for (const p of r.photos) p.line = p.barred = p.shot = undefined;
    if (numbers) r.photos.forEach((p, i) => { if (!p.numbers || (i === 0 && p.numbers.length < 2)) p.numbers = marksOf(p, i === 0 ? 2 : 1); });
    out.replaceChildren();
    trouble.replaceChildren();
    shots();
  }

  async function send() {
    await Promise.all(r.photos.filter((p) => p.file && !p.sending).map(async (p) => {
      p.sending = true;
      try {
        p.held = await measured(p.file, r.facts, () => {}, stop.signal);
        p.file = null;
      } catch (err) {
        if (err.name === "AbortError") return;
        p.err = err.title === "no-server" ? { title: t("fault.server"), advice: t("fault.server.advice") } : err;
      } finally {
        p.sending = false;
      }
      if (!gone) shots();
    }));
    if (!gone && ready()) measure();
  }

  const allTold = () => r.photos.every((p) => p.numbers?.every((n) => n.number !== ""));

  // toldNumbers are the numbers that were read, once all of them are.
  function toldNumbers() {
    const told = [];
    if (numbers && allTold()) r.photos.forEach((p, i) => p.numbers.forEach((n) => told.push({ photo: i + 1, at: n.point, number: Number(n.number) })));
    return told;
  }

  async function measure(keep) {
    trouble.replaceChildren();
    if (!ready()) return;
    const turn = ++asked; // an answer that was overtaken by a newer question is dropped
    const body = { what: r.what, photos: r.photos.map((p) => p.held.id) };
    if (ends) body.ends = ends;
    const told = toldNumbers(), mm = Number(r.facts.ruler_thickness_mm ?? setting.thickness);
    if (told.length) body.numbers = told;
    if (mm) body.ruler_thickness_mm = mm;
    if (keep) body.keep = true;
    bar.hidden = false;
    bar.removeAttribute("value");
    lead.textContent = t("joined.working");
    let now;
    try {
      now = await post("/lengths", body);
    } catch (err) {
      if (turn === asked && !gone) trouble.replaceChildren(problem(err));
    }
    if (turn !== asked || gone) return;
    bar.hidden = true;
    lead.textContent = "";
    if (!now) return;
    last = now;
    if (now.part_id) r.photos[0].held.part_id = now.part_id;
    r.photos.forEach((p, i) => {
      const s = now.shots?.[i];
      p.shot = s;
      p.line = s?.line;
      p.barred = s?.ends;
    });
    out.replaceChildren(...lengthParts(now, () => measure(true)));
    say([now.words.head, now.words.why].filter(Boolean).map(sentence).join(" "));
    r.photos.forEach(look);
  }

  // look puts into a photo's picture what is known of it.
  function look(p, i) {
    const v = p.viewer;
    if (!v?.img) return;
    v.ends = p.line;
    v.barred = p.barred;
    v.show(p.shot?.evidence ?? p.held.evidence ?? {}, p.shot?.ruler ? { ruler: p.shot.ruler } : p.held.result);
    place(p, i);
  }

  // place puts the handles of a photo: of an end that is set, and of its numbers.
  function place(p, i) {
    const points = [], names = [];
    if (ends && (i === 0 || i === r.photos.length - 1)) {
      const k = i === 0 ? 0 : 1;
      points.push({ get: () => ends[k], set: (q) => { ends[k] = q; } });
      names.push([t("ends.end", { n: k + 1 }), t("ends.end", { n: k + 1 })]);
    }
    if (numbers) (p.numbers ?? []).forEach((n, k) => {
      points.push({ get: () => n.point, set: (q) => { n.point = q; } });
      names.push([t("joined.mark", { n: k + 1 }), t("joined.mark.short", { n: k + 1 })]);
    });
    p.points = points;
    p.viewer.setHandles(points.map((x) => x.get()), (k) => names[k]);
  }

  const item = (p, i) => {
    const move = (by) => { r.photos.splice(i, 1); r.photos.splice(i + by, 0, p); changed(); if (ready()) measure(); };
    const tool = (words, run, off) => h("button", { type: "button", "aria-label": `${words}: ${p.name}`, disabled: off, onclick: run }, words);
    p.viewer?.close();
    p.viewer = null;
    const head = h("p", {}, h("strong", {}, t("joined.shot", { n: i + 1, all: r.photos.length })), " ", h("span", { class: "small soft" }, p.name));
    const tools = h("div", { class: "row" }, tool(t("joined.earlier"), () => move(-1), i === 0), tool(t("joined.later"), () => move(1), i === r.photos.length - 1),
      tool(t("joined.out"), () => { r.photos.splice(i, 1); changed(); if (ready()) measure(); }, r.photos.length < 2));
    if (p.err) return h("li", { class: "card" }, head, problem(p.err), tools);
    if (!p.held) return h("li", { class: "card" }, head, h("progress", { "aria-label": p.name }), tools);
    p.viewer = new Viewer({ onHandle: (k, q, done) => {
      p.points[k].set([...q]);
      if (done) { clearTimeout(timer); timer = setTimeout(measure, 200); }
    } });
    p.viewer.root.className = "stack";
    const fields = numbers ? h("div", { class: "fields" }, (p.numbers ?? []).map((n, k) => h("label", {}, t("joined.number", { n: k + 1 }),
      h("input", { type: "number", inputmode: "numeric", step: "1", min: "0", value: String(n.number), onchange: (ev) => { n.number = ev.target.value; if (allTold()) measure(); } })))) : "";
    p.viewer.load("/api/v1/photos/" + p.held.id + "/picture").then(() => look(p, i), (err) => { console.error(err); p.viewer?.root.remove(); });
    return h("li", { class: "card" }, head, p.viewer.root, fields, tools);
  };

  function shots() {
    list.replaceChildren(...r.photos.map(item));
    const done = r.photos.filter((p) => p.held || p.err).length;
    bar.hidden = done === r.photos.length;
    bar.max = r.photos.length;
    bar.value = done;
    lead.textContent = bar.hidden ? (r.photos.length < 2 ? t("joined.few") : "") : t("box.lead", { done, all: r.photos.length });
    find.disabled = hand.disabled = read.disabled = !ready();
  }

  shots();
  if (r.photos.some((p) => p.file)) send();
  else Promise.all(r.photos.map(async (p) => { p.held = await get("/photos/" + p.held.id); })).then(() => { if (!gone) measure(); }, (err) => trouble.replaceChildren(problem(err)));
  return () => {
    gone = true;
    stop.abort();
    r.photos.forEach((p) => p.viewer?.close());
  };
}
