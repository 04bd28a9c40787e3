// What this device remembers: units and the ruler's thickness. Nothing of it
// is on the server.
import { t } from "./strings.js";
import { h, show, say, choices, field } from "./dom.js";
import { setting } from "./units.js";

export function settingsView() {
  const keep = (key) => (v) => { setting.keep(key, v); say(t("settings.saved")); };
  show(t("settings.title"), h("div", { class: "card" }, h("h1", {}, t("settings.title")),
    choices(t("settings.units"), "units", [["in", t("settings.units.in")], ["cm", t("settings.units.cm")]], setting.units, keep("units")),
    field(t("settings.thickness"), h("input", { type: "number", inputmode: "decimal", min: "0.01", max: "30", step: "any", value: setting.thickness, onchange: (e) => keep("thickness")(e.target.value) }), t("settings.thickness.hint"))),
  h("div", { class: "card" }, h("h2", {}, t("settings.about")), h("p", {}, t("settings.about.1")), h("p", {}, h("a", { href: "/api/v1/openapi.yaml" }, t("settings.api")))));
}
