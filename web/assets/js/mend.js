// Mending by hand: what a person says of the photo, answered again at once.
import { t } from "./strings.js";
import { h, problem, field } from "./dom.js";
import { put } from "./api.js";
import { factFields } from "./take.js";
import { setting, inches, number } from "./units.js";

const out = (state) => state === "good" || state === "by-hand";

// mendPanel gives the panel's root, and tap, handle and shown for the viewer.
export function mendPanel(photo, viewer, answered) {
  const facts = { part: "", unit: "", ruler_thickness_mm: "", ...photo.facts, add: photo.facts.add ?? [], drop: photo.facts.drop ?? [] };
  const trouble = h("div");
  const busy = h("p", { class: "hint", hidden: true }, t("mend.working"));
  let current = -1, ask, timer, open = true, mine;

  const changed = (wait = 250) => { clearTimeout(timer); timer = setTimeout(send, wait); };
  async function send() {
    ask?.abort();
    ask = new AbortController();
    busy.hidden = false;
    try {
      const body = { add: facts.add, drop: facts.drop };
      if (facts.part) body.part = facts.part;
      if (facts.unit) body.unit = facts.unit;
      if (Number(facts.ruler_thickness_mm)) body.ruler_thickness_mm = Number(facts.ruler_thickness_mm);
      if (scaleOn.checked) body.scale = { at: viewer.handles.map((e) => e.point), in: apart.value };
      photo = await put("/photos/" + photo.id + "/facts", body, ask.signal);
      trouble.replaceChildren();
      answered(photo);
      showBand();
      busy.hidden = true;
    } catch (err) {
      if (err.name === "AbortError") return;
      busy.hidden = true;
      trouble.replaceChildren(problem(err));
    }
  }

  // Two points of the ruler.
  const apart = h("input", { name: "apart", autocomplete: "off", onchange: () => changed(0) });
  const nudges = h("div", { class: "fields" }, [0, 1].map((i) => h("fieldset", {}, h("legend", {}, t("mend.nudge", { n: i + 1 })), h("div", { class: "tools" },
    [["left", "←", -1, 0], ["right", "→", 1, 0], ["up", "↑", 0, -1], ["down", "↓", 0, 1]].map(([key, arrow, dx, dy]) =>
      h("button", { type: "button", "aria-label": `${t("mend.nudge", { n: i + 1 })}: ${t("mend." + key)}`, onclick: () => viewer.nudge(i, dx, dy) }, arrow))))));
  const scaleFields = h("div", { class: "stack inset", hidden: true }, h("p", { class: "hint" }, t("mend.scale.hint")), field(t("mend.apart"), apart, t("mend.apart.hint")), nudges);
  const scaleOn = h("input", { type: "checkbox", id: "scale-on", onchange: () => { placeHandles(); changed(0); } });

  // start puts the points on the outermost whole marks that were read.
  function start() {
    const marks = photo.result.ruler?.marks ?? [], [w, hgt] = [viewer.img?.width ?? 1000, viewer.img?.height ?? 750];
    if (marks.length > 1) {
      const a = marks[0], b = marks[marks.length - 1];
      const units = Math.abs(b.value - a.value), inch = photo.result.ruler.unit === "in";
      return { at: [a.at, b.at], text: inch ? `${inches(units)} in` : `${number(units, 2)} cm` };
    }
    return { at: [[w * 0.25, hgt * 0.5], [w * 0.75, hgt * 0.5]], text: setting.units === "in" ? "4 in" : "10 cm" };
  }
  let begun;
  function placeHandles() {
    scaleFields.hidden = !scaleOn.checked;
    if (!scaleOn.checked || !open) {
      if (viewer.handles === mine && mine.length) {
        begun = { at: mine.map((e) => e.point), text: apart.value };
        viewer.setHandles([]);
      }
      return;
    }
    begun ??= start();
    viewer.setHandles(begun.at);
    mine = viewer.handles;
    viewer.revealAll(begun.at);
    apart.value ||= begun.text;
  }

  // Bands.
  const where = h("p", { role: "status" });
  const toggle = h("button", { type: "button", id: "toggle-band", onclick: () => flip(current) });
  const bands = () => photo.evidence?.bands ?? [];
  const go = (by) => { current = Math.min(Math.max(current + by, 0), bands().length - 1); showBand(true); };
  function showBand(reveal) {
    const b = bands()[current];
    viewer.current = b ? current : undefined;
    toggle.disabled = !b;
    toggle.textContent = t(b && !out(b.state) ? "mend.toggle.in" : "mend.toggle.out");
    where.textContent = b ? t("mend.band", { n: current + 1, all: bands().length, state: t("sign." + b.state) }) : "";
    if (b && reveal) viewer.reveal(b.at, viewer.least * 3);
    viewer.draw();
  }
  const spacing = () => { const l = bands(); return l.length > 1 ? Math.hypot(l[l.length - 1].at[0] - l[0].at[0], l[l.length - 1].at[1] - l[0].at[1]) / (l.length - 1) : 20; };
  const without = (list, p) => list.filter((q) => Math.hypot(q[0] - p[0], q[1] - p[1]) > spacing() / 2);

  // flip leaves a band out or counts it in.
  function flip(i) {
    const b = bands()[i];
    if (!b) return;
    const wasAdded = facts.add.length, wasDropped = facts.drop.length;
    facts.add = without(facts.add, b.at);
    facts.drop = without(facts.drop, b.at);
    if (out(b.state) && facts.add.length === wasAdded) facts.drop.push(b.at);
    else if (!out(b.state) && facts.drop.length === wasDropped) facts.add.push(b.at);
    changed(0);
  }

  // off is how far a point lies from a band's line beside the ruler.
  function off(p, b) {
    const d = [b.toward[0] - b.at[0], b.toward[1] - b.at[1]], l = Math.hypot(...d) || 1;
    const s = Math.min(Math.max(((p[0] - b.at[0]) * d[0] + (p[1] - b.at[1]) * d[1]) / (l * l), -0.1), 1.2);
    return Math.hypot(p[0] - b.at[0] - s * d[0], p[1] - b.at[1] - s * d[1]);
  }
  function tap(p, radius) {
    if (!open || !bands().length) return;
    let best = 0;
    bands().forEach((b, i) => { if (off(p, b) < off(p, bands()[best])) best = i; });
    const far = off(p, bands()[best]);
    if (far <= spacing() / 2) { current = best; flip(best); showBand(); }
    else if (far < Math.max(radius, 4 * spacing())) { facts.add.push(p); changed(0); } // past the end of the row
  }

  const fields = factFields(facts, () => changed(0));
  const root = h("div", { class: "stack" }, h("p", {}, t("mend.lead")), fields,
    h("label", { class: "check" }, scaleOn, t("mend.scale")), scaleFields,
    h("fieldset", {}, h("legend", {}, t("mend.bands")), h("p", { class: "hint" }, t("mend.bands.hint")),
      h("div", { class: "tools" }, h("button", { type: "button", onclick: () => go(-1) }, "‹ " + t("mend.prev")), h("button", { type: "button", id: "next-band", onclick: () => go(1) }, t("mend.next") + " ›"), toggle), where),
    h("div", { class: "row" }, h("button", { type: "button", onclick: reset }, t("mend.reset")), busy), trouble);
  showBand();
  if (photo.facts.scale) {
    begun = { at: photo.facts.scale.at, text: `${number(photo.facts.scale.in, 4)} in` };
    scaleOn.checked = true;
    placeHandles();
  }

  function reset() {
    Object.assign(facts, { part: "", unit: "", ruler_thickness_mm: "", add: [], drop: [] });
    begun = undefined;
    apart.value = "";
    scaleOn.checked = false;
    placeHandles();
    fields.querySelectorAll("input[type=radio]").forEach((e) => { e.checked = e.value === ""; });
    fields.querySelector("input[type=number]").value = "";
    current = -1;
    changed(0);
  }
  return { root, tap, handle: (i, p, done) => done && changed(), shown: (is) => { open = is; placeHandles(); if (!is) viewer.current = undefined; showBand(); } };
}
