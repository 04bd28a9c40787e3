// A length in the photo: found, or between two ends that a person sets.
import { t } from "./strings.js";
import { h, problem, sentence, capital, say } from "./dom.js";
import { post } from "./api.js";
import { length, odds } from "./units.js";
import { startJoined } from "./joined.js";

export const whats = ["reed-length", "sley-width", "reed-height", "heddle-width", "heddle-bar-span", "string-heddle", "wire-heddle"];

// lengthParts are the answer about a length; keep keeps it with the part.
export function lengthParts(answer, keep) {
  const r = answer.result, w = answer.words;
  return [
    h("p", { class: "size" }, r.length ? h("b", { class: "long" }, length(r.length.in)) : h("span", {}, capital(w.head))),
    r.length ? h("p", {}, capital(w.head), r.nominal ? ` (${odds(r.nominal.confidence)})` : "") : "",
    r.length ? h("p", { class: "soft" }, `${t("answer.measured")}: ${length(r.length.in, r.length.u)}` + (r.eye ? `; ${t("ends.eye")}: ${length(r.eye.in, r.eye.u)}` : "")) : "",
    r.ends_by_hand ? h("ul", { class: "chips hand" }, h("li", {}, t("ends.byhand"))) : "",
    w.why ? h("p", {}, sentence(w.why)) : "", w.do ? h("div", { class: "todo" }, h("p", {}, w.do)) : "",
    r.warnings.length ? h("p", { class: "small" }, r.warnings.map(sentence).join(" ")) : "",
    r.length && !answer.part_id ? h("div", { class: "row" }, h("button", { type: "button", id: "keep-length", onclick: keep }, t("ends.keep"))) : "",
    answer.part_id ? h("p", {}, t("answer.kept", { id: answer.part_id }), " ", h("a", { href: "#/part/" + answer.part_id }, t("answer.open"))) : "",
  ].filter(Boolean);
}

// endsPanel gives the panel's root, handle and shown for the viewer.
export function endsPanel(photo, viewer, first) {
  let what = whats.includes(first) ? first : whats[0], byHand = null, open = true, timer, last = null, mine, asked = 0;
  const out = h("div", { class: "stack", role: "status" }), trouble = h("div");
  const select = h("select", { id: "what", onchange: () => { what = select.value; byHand = null; measure(); } }, whats.map((w) => h("option", { value: w, selected: w === what }, t("what." + w))));
  const next = h("input", { type: "file", accept: "image/*,.heic,.heif,.tif,.tiff", multiple: true, id: "join-next", "aria-label": t("joined.next"),
    onchange: () => startJoined(next.files, { ...photo().facts }, what, photo()) });
  const root = h("div", { class: "stack" }, h("p", { class: "hint" }, t("ends.lead")), h("label", {}, t("ends.what"), select),
    h("div", { class: "row" }, h("button", { type: "button", class: "first", id: "measure-length", onclick: () => { byHand = null; measure(); } }, t("ends.find")),
      h("button", { type: "button", id: "ends-by-hand", onclick: () => { byHand = ends(); viewer.fit(); place(); measure(); } }, t("ends.hand"))), trouble, out,
    h("p", { class: "hint" }, t("joined.too-long")), h("div", { class: "row" }, h("div", { class: "button pick" }, h("span", { "aria-hidden": "true" }, t("joined.next")), next)));

  // ends are where the two ends are now, or two places to begin with.
  function ends() {
    if (viewer.handles === mine && mine.length === 2) return viewer.handles.map((e) => e.point);
    if (last?.result.ends?.length === 2) return last.result.ends;
    const w = viewer.img?.width ?? 1000, hgt = viewer.img?.height ?? 750;
    return [[w * 0.2, hgt / 2], [w * 0.8, hgt / 2]];
  }
  function place() {
    if (open && byHand) {
      viewer.setHandles(byHand, t("ends.end"));
      mine = viewer.handles;
    } else if (viewer.handles === mine) {
      viewer.setHandles([]);
    }
    viewer.ends = open ? byHand ?? last?.result.ends : undefined;
    viewer.draw();
  }

  async function measure(keep) {
    trouble.replaceChildren();
    const turn = ++asked; // an answer that was overtaken by a newer question is dropped
    let now;
    try {
      const body = { what };
      if (byHand) body.ends = byHand;
      const mm = Number(photo().facts.ruler_thickness_mm);
      if (mm) body.ruler_thickness_mm = mm;
      if (keep) body.keep = true;
      now = await post("/photos/" + photo().id + "/length", body);
    } catch (err) {
      if (turn === asked) trouble.replaceChildren(problem(err));
      return;
    }
    if (turn !== asked) return;
    last = now;
    const w = last.words;
    out.replaceChildren(...lengthParts(last, () => measure(true)));
    if (open) viewer.show(last.evidence ?? {}, last.result);
    if (last.part_id) photo().part_id = last.part_id;
    say([w.head, w.why].filter(Boolean).map(sentence).join(" "));
    place();
  }
  return {
    root, measure,
    handle: (i, p, done) => {
      byHand = viewer.handles.map((e) => [...e.point]);
      viewer.ends = byHand;
      if (done) { clearTimeout(timer); timer = setTimeout(measure, 200); }
    },
    shown: (is) => {
      open = is;
      if (is) viewer.fit();
      viewer.show(is && last?.evidence ? last.evidence : photo().evidence, is && last ? last.result : photo().result);
      place();
    },
  };
}
