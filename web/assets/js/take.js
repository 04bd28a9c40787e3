// The first view: take or choose a photo.
import { t } from "./strings.js";
import { h, icon, show, signs, choices, field } from "./dom.js";
import { setting } from "./units.js";
import { whats } from "./ends.js";

// toMeasure is what was chosen and is to be measured by the next view.
export const toMeasure = { photos: [], facts: {}, what: "" };

export function begin(photos, facts) {
  if (photos.length === 0) return;
  toMeasure.photos = [...photos];
  toMeasure.facts = facts;
  // photos of one length belong together, of dent sizes each is its own
  location.hash = photos.length === 1 ? "#/photo/new" : toMeasure.what ? "#/joined/new" : "#/box/new";
}

// picker is a button that opens the camera or the files.
export function picker(words, cls, attributes, facts) {
  const input = h("input", { type: "file", accept: "image/*,.heic,.heif,.tif,.tiff", "aria-label": words, ...attributes, onchange: () => begin(input.files, facts()) });
  return h("div", { class: "button pick " + cls }, cls.includes("first") ? icon(signs.camera) : "", h("span", { "aria-hidden": "true" }, words), input);
}

export function measureView() {
  toMeasure.what = "";
  const told = { part: "", unit: "", ruler_thickness_mm: setting.thickness };
  const facts = () => told;
  show(t("nav.measure"),
    h("div", { class: "card" },
      h("h1", {}, t("measure.title")),
      h("p", {}, t("measure.lead")),
      picker(t("measure.take"), "first large", { capture: "environment", id: "take" }, facts),
      h("div", { class: "row" },
        picker(t("measure.pick"), "", { multiple: true, id: "pick" }, facts),
        h("a", { class: "button", href: "#/guide" }, t("measure.guide"))),
      h("p", { class: "hint" }, t("measure.original"))),
    h("div", { class: "card" },
      h("h2", {}, t("measure.how")),
      h("img", { class: "drawing", src: "/how.svg", alt: t("measure.drawing"), width: "400", height: "220" }),
      h("ol", { class: "steps" }, ["1", "2", "3"].map((n) => h("li", {}, t("measure.how." + n))))),
    h("details", { class: "card" },
      h("summary", {}, t("measure.tell")),
      field(t("what"), h("select", { id: "to-measure", onchange: (e) => { toMeasure.what = e.target.value; } },
        h("option", { value: "" }, t("what.size")), whats.map((w) => h("option", { value: w }, t("what." + w))))),
      factFields(told)),
  ).classList.add("two");
}

// factFields are the facts that help before the photo is read.
export function factFields(told, changed = () => {}) {
  const set = (key) => (v) => { told[key] = v; changed(); };
  return h("div", { class: "stack" },
    choices(t("fact.part"), "part", ["", "reed", "rigid-heddle"].map((v) => [v, t("fact.part." + (v || "auto"))]), told.part, set("part")),
    choices(t("fact.unit"), "unit", ["", "in", "cm"].map((v) => [v, t("fact.unit." + (v || "auto"))]), told.unit, set("unit")),
    field(t("fact.thickness"), h("input", { type: "number", name: "thickness", inputmode: "decimal", min: "0.01", max: "30", step: "any", value: String(told.ruler_thickness_mm ?? ""), onchange: (e) => set("ruler_thickness_mm")(e.target.value) }), t("fact.thickness.hint")));
}
