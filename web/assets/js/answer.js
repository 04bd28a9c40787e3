// The answer to one photo.
import { t, has } from "./strings.js";
import { h, icon, signs, show, say, problem, capital, sentence } from "./dom.js";
import { get, post, file, measured } from "./api.js";
import { length, inches, odds, plusMinus, percent, number } from "./units.js";
import { toMeasure, picker } from "./take.js";
import { Viewer } from "./viewer.js";
import { sign, signOf } from "./draw.js";
import { mendPanel } from "./mend.js";
import { endsPanel } from "./ends.js";

export async function answerView(id, what) {
  if (id === "new") return sendView();
  const photo = await get("/photos/" + encodeURIComponent(id) + "?wait=30");
  return showAnswer(photo, what);
}

// sendView sends the chosen photo and tells how far it is.
function sendView() {
  const [photo] = toMeasure.photos;
  if (!photo) { location.replace("#/"); return; }
  toMeasure.photos = [];
  const stop = new AbortController();
  const bar = h("progress", { max: "1", "aria-labelledby": "how-far" });
  const words = h("p", { id: "how-far", role: "status" });
  const url = URL.createObjectURL(photo);
  const preview = h("img", { class: "preview", src: url, alt: t("send.yours"), onerror: () => preview.remove() });
  const back = () => { location.hash = "#/"; };
  show(t("answer.title"), h("div", { class: "card" }, h("h1", {}, t("nav.measure")), words, bar,
    h("div", { class: "row" }, h("button", { type: "button", onclick: () => { stop.abort(); back(); } }, t("send.stop"))), preview));
  const told = (p) => {
    if (p.busy) words.textContent = t("send.busy");
    else if (p.sent !== undefined) { bar.value = p.sent; words.textContent = t("send.sending", { percent: Math.round(100 * p.sent) }); }
    else { bar.removeAttribute("value"); words.textContent = p.state === "waiting" ? t("send.waiting", { n: p.ahead }) : t("send.measuring"); }
  };
  measured(photo, toMeasure.facts, told, stop.signal).then((p) => {
    if (!stop.signal.aborted) location.replace("#/photo/" + p.id + (toMeasure.what ? "/" + toMeasure.what : ""));
  }, (err) => {
    if (err.name === "AbortError") return;
    show(t("answer.title"), h("section", { class: "card answer failed" }, h("p", { class: "status" }, icon(signs.refused), t("fault.photo")),
      problem(err.title === "no-server" ? { title: t("fault.server"), advice: t("fault.server.advice") } : err), again()));
  }).finally(() => URL.revokeObjectURL(url));
  return () => stop.abort();
}

const again = () => picker(t("send.again"), "first", { capture: "environment" }, () => toMeasure.facts);

// showAnswer shows a photo's dent size, or the length that was asked for.
function showAnswer(photo, what) {
  const card = h("section", { class: "card answer" });
  const more = h("div", { class: "card" });
  let mend, ends;
  const viewer = new Viewer({ onTap: (p, r) => mendBox.open && mend?.tap(p, r), onHandle: (...a) => (endsBox.open ? ends : mend)?.handle(...a) });
  const legend = h("ul", { class: "legend", "aria-label": t("view.legend") });
  viewer.root.append(legend);
  viewer.root.classList.add("wide");
  const update = (p, spoken) => {
    photo = p;
    card.className = "card answer " + p.result.status;
    card.replaceChildren(...answerParts(p));
    more.replaceChildren(...moreParts(p));
    viewer.show(p.evidence, p.result);
    legend.replaceChildren(...legendOf(p.evidence));
    if (spoken) say(spokenAnswer(p));
  };
  const mendBox = h("details", { class: "card", id: "mend", ontoggle: () => {
    if (mendBox.open && !mend) {
      mend = mendPanel(photo, viewer, (p) => update(p, true));
      mendBox.append(mend.root);
    }
    if (mendBox.open) endsBox.open = false; // one hand on the picture at a time
    mend?.shown(mendBox.open);
  } }, h("summary", {}, t("mend.title")));
  const endsBox = h("details", { class: "card", id: "length", ontoggle: () => {
    if (endsBox.open && !ends) {
      ends = endsPanel(() => photo, viewer, what);
      endsBox.append(ends.root);
      if (what) ends.measure();
    }
    if (endsBox.open) mendBox.open = false;
    ends?.shown(endsBox.open);
  } }, h("summary", {}, t("ends.title")));
  show(t("answer.title"), h("h1", { class: "unseen" }, t("answer.title")), what ? endsBox : card, viewer.root, what ? "" : keepBar(() => photo), what ? "" : mendBox, what ? "" : endsBox, what ? "" : more).classList.add("two");
  update(photo, !what);
  endsBox.open = Boolean(what);
  // Not waited for: the answer is there, and the focus must not be moved later.
  viewer.load("/api/v1/photos/" + photo.id + "/picture").then(() => {
    if (what) viewer.fit();
    else viewer.fitRuler();
    viewer.revealAll(viewer.handles.map((e) => e.point));
  }, (err) => {
    console.error(err);
    viewer.root.remove();
  });
  return () => viewer.close();
}

export function spokenAnswer(p) {
  const w = p.words;
  return [w.head, w.sure, w.why, w.do].filter(Boolean).map(sentence).join(" ");
}

// answerParts are the answer, its sureness, and what to do.
function answerParts(p) {
  const r = p.result, w = p.words;
  const out = [h("p", { class: "status" }, icon(signs[r.status]), t("status." + r.status))];
  if (r.status === "answered") out.push(bigSize(r), h("p", {}, t("answer.sure", { odds: odds(r.size.confidence) })), meter(r.size.confidence));
  if (r.status === "unsure") {
    if (r.size) out.push(h("h2", {}, t("answer.could")), h("ul", { class: "others" }, [r.size, ...r.size.others].slice(0, 4).map((c) => h("li", {}, h("b", {}, sizeWords(c)), meter(c.confidence), h("span", { class: "odds small" }, odds(c.confidence))))));
  }
  if (r.status === "refused") out.push(h("p", { class: "size" }, h("span", {}, sentence(r.reason))));
  if (w.why) out.push(h("p", {}, sentence(w.why)));
  if (w.do) out.push(h("div", { class: "todo" }, h("h2", { class: "h3" }, t("answer.todo")), h("p", {}, capital(w.do)),
    r.status === "answered" ? "" : h("div", { class: "row" }, again(), r.ruler ? h("button", { type: "button", onclick: tellMore }, t("answer.tell")) : "")));
  if (r.order) out.push(h("div", { class: "row" }, h("p", {}, h("span", { class: "soft" }, t("answer.order") + ": "), r.order), copyButton(r.order)));
  if (r.by_hand?.length) out.push(h("div", {}, h("h2", { class: "h3" }, t("answer.hand")), h("ul", { class: "chips hand" }, r.by_hand.map((k) => h("li", {}, t("hand." + k))))));
  return out;
}

// tellMore opens what can be told by hand, at the ruler's thickness.
function tellMore() {
  const mend = document.getElementById("mend");
  mend.open = true;
  setTimeout(() => mend.querySelector("input[name=thickness]")?.focus());
}

const sizeWords = (c) => (c.system === "none" ? t("answer.none") : c.label);
const meter = (p) => h("meter", { min: "0", max: "1", value: String(p), "aria-label": odds(p) });

function bigSize(r) {
  const s = r.size, part = t("fact.part." + r.part);
  const other = s.system === "metric" ? `${number(s.dents_per_inch, 2)} ${t("answer.perInch")}` : `${number(s.dents_per_inch / 0.254, 1)} ${t("answer.per10cm")}`;
  return h("p", { class: "size" }, h("b", {}, s.system === "none" ? number(r.pitch.dents_per_inch, 2) : s.label), " ",
    h("span", {}, [s.system === "inch" || s.system === "none" ? t("answer.perInch") + ", " : "", part].join("")), " ",
    h("span", { class: "soft" }, s.system === "none" ? t("answer.none") : other));
}

function copyButton(text) {
  const b = h("button", { type: "button", onclick: async () => {
    try { await navigator.clipboard.writeText(text); } catch { select(text); }
    b.textContent = t("answer.copied");
    say(t("answer.copied"));
  } }, t("answer.copy"));
  return b;
}

// select copies where the browser keeps the clipboard for encrypted pages.
function select(text) {
  const a = h("textarea", { class: "unseen", value: text, "aria-hidden": "true", tabindex: "-1" });
  a.value = text;
  document.body.append(a);
  a.select();
  document.execCommand("copy");
  a.remove();
}

// keepBar puts the part on the shelf and prints its label.
function keepBar(photo) {
  const bar = h("div", { class: "card" });
  const trouble = h("div");
  const kept = async () => {
    if (!photo().part_id) {
      const { parts } = await post("/parts/from-photos", { photos: [photo().id] });
      photo().part_id = parts[0].id;
    }
    show();
    return photo().part_id;
  };
  const button = (key, cls, work) => h("button", { type: "button", class: cls, id: key.replace(".", "-"), onclick: async (ev) => {
    ev.target.disabled = true;
    trouble.replaceChildren();
    try { await work(); } catch (err) { trouble.replaceChildren(problem(err)); }
    ev.target.disabled = false;
  } }, t(key));
  const show = () => {
    const id = photo().part_id;
    bar.replaceChildren(h("div", { class: "row" },
      id ? h("p", { role: "status" }, t("answer.kept", { id }), " ", h("a", { href: "#/part/" + id }, t("answer.open"))) : button("answer.keep", "first", kept),
      button("answer.label", "", async () => { const id = await kept(); await openFile("GET", "/labels?cut_lines=true&ids=" + id, "label-" + id + ".pdf"); }),
      button("answer.overlay", "", () => openFile("GET", "/photos/" + photo().id + "/overlay", "dentcount.jpg"))), trouble);
  };
  show();
  return bar;
}

// openFile saves a file that the server makes.
export async function openFile(method, path, name, body) {
  const url = URL.createObjectURL(await file(method, path, body));
  const a = h("a", { href: url, download: name });
  document.body.append(a);
  a.click();
  a.remove();
  setTimeout(() => URL.revokeObjectURL(url), 60000);
}

// moreParts are the measure behind the answer and the budget.
function moreParts(p) {
  const r = p.result, out = [];
  const facts = [];
  if (r.pitch) {
    const { dents_per_inch: n, u, dents_per_10cm: m } = r.pitch;
    facts.push(["answer.measured", h("span", {}, `${plusMinus(n, 2 * u)} ${t("answer.perInch")}`, h("br"), h("span", { class: "soft" }, `${plusMinus(m, 2 * u / 0.254)} ${t("answer.per10cm")}`))]);
  }
  if (r.count) {
    const { min, max } = r.count.in_one_inch;
    const range = min === max ? inches(min) : t("answer.counted.range", { min: inches(min), max: inches(max) });
    facts.push(["answer.counted", `${t("answer.counted.words", { n: r.count.dents, length: length(r.count.over_in) })}; ${t("answer.counted.inch", { range })}`]);
  }
  if (r.ruler) {
    const hand = r.by_hand?.includes("scale");
    facts.push(["answer.ruler", hand ? t("answer.ruler.hand", { length: length(r.ruler.span_in) }) : t("answer.ruler.words", { unit: t("fact.unit." + r.ruler.unit), n: r.ruler.divisions, length: length(r.ruler.span_in) })]);
  }
  if (r.warnings.length) facts.push(["answer.notes", r.warnings.map(sentence).join(" ")]);
  if (facts.length) out.push(h("dl", { class: "facts" }, facts.map(([k, v]) => [h("dt", {}, t(k)), h("dd", {}, v)])));
  if (r.budget?.length) {
    const lines = [...r.budget].sort((a, b) => b.relative_u - a.relative_u);
    out.push(h("details", { id: "why" }, h("summary", {}, t("answer.why")), h("p", { class: "small" }, t("answer.why.lead")),
      h("table", {}, h("thead", {}, h("tr", {}, h("th", { scope: "col" }, t("answer.why.source")), h("th", { scope: "col", class: "n" }, t("answer.why.share")))),
        h("tbody", {}, lines.map((l) => h("tr", {}, h("td", {}, capital(l.source), l.note ? h("div", { class: "small soft" }, l.note) : ""), h("td", { class: "n" }, percent(l.relative_u)))),
          h("tr", {}, h("td", {}, h("b", {}, t("answer.why.all"))), h("td", { class: "n" }, h("b", {}, percent(r.pitch.u / r.pitch.dents_per_inch))))))));
  }
  out.push(h("p", { class: "hint" }, t("answer.took", { s: (r.took_ms / 1000).toFixed(1) })));
  return out;
}

// legendOf explains the signs that are in the picture.
function legendOf(ev) {
  const names = [...new Set((ev?.bands ?? []).map(signOf))];
  if (ev?.marks?.length) names.push("marks");
  return names.filter((n) => has("sign." + n)).map((n) => {
    const c = h("canvas", { width: "44", height: "44", "aria-hidden": "true" });
    const g = c.getContext("2d");
    g.scale(2, 2);
    sign(g, n, [11, 11], [0, -1], 13);
    return h("li", {}, c, t("sign." + n));
  });
}


