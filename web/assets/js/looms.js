// The looms one owns, and which reeds of the shelf serve them.
import { t } from "./strings.js";
import { h, show, say, field, form, sentence } from "./dom.js";
import { get, put, drop } from "./api.js";
import { length, inches, number, setting } from "./units.js";

const lengths = ["weaving_width_in", "clear_span_in", "beater_min_in", "beater_max_in", "heddle_bar_span_in"];
const written = (x) => (!x ? "" : setting.units === "cm" ? `${number(x * 2.54, 2)} cm` : `${inches(x)} in`);

export async function loomsView() {
  let { looms } = await get("/looms");
  const list = h("ul", { class: "parts" });
  const empty = h("p", { class: "soft" }, t("looms.empty"));
  const choose = h("select", { name: "loom" });
  const inputs = Object.fromEntries(lengths.map((k) => [k, h("input", { name: k, autocomplete: "off" })]));
  const name = h("input", { name: "name", required: true, maxlength: "60" }), shafts = h("input", { name: "shafts", type: "number", min: "1", max: "64" });

  const edit = form(async () => {
    const body = {};
    for (const k of lengths) if (inputs[k].value.trim()) body[k] = inputs[k].value;
    if (shafts.value) body.shafts = Number(shafts.value);
    const l = await put("/looms/" + encodeURIComponent(name.value.trim() || " "), body);
    looms = [...looms.filter((x) => x.name.toLowerCase() !== l.name.toLowerCase()), l].sort((a, b) => a.name.localeCompare(b.name));
    draw();
    edit.reset();
    say(t("looms.saved", { name: l.name }));
  }, h("h2", {}, t("looms.add")), h("p", { class: "hint" }, t("looms.length.hint")),
  h("div", { class: "fields" }, field(t("looms.name"), name), lengths.map((k) => field(t("looms." + k), inputs[k])), field(t("looms.shafts"), shafts)),
  h("div", { class: "row" }, h("button", { class: "first" }, t("looms.save"))));

  const results = h("div", { role: "status", class: "card", hidden: true });
  const find = form(async (data) => {
    const q = new URLSearchParams({ sett: data.get("sett") });
    if (data.get("width")) q.set("width", data.get("width"));
    const r = await get(`/looms/${encodeURIComponent(data.get("loom"))}/reeds?${q}`);
    results.hidden = false;
    results.replaceChildren(
      r.reeds.length ? h("ul", { class: "parts" }, r.reeds.map((x) => h("li", { class: x.fit === "fits" ? "answered" : "unsure" },
        h("a", { class: "what", href: "#/part/" + x.id }, x.size), h("span", {}, t("looms.sleyed", { sley: x.sleying, epi: number(x.ends_per_inch, 2) })),
        h("span", { class: "small" }, [t("fit." + x.fit), x.reason, x.question, ...x.cautions].filter(Boolean).map(sentence).join(" "))))) : h("p", {}, t("looms.for.none")),
      r.reeds.length === 0 && r.made.length ? h("p", {}, t("looms.for.made", { list: r.made.join(", ") })) : "",
      r.doubtful ? h("p", { class: "soft small" }, t("looms.for.doubtful", { n: r.doubtful })) : "");
  }, h("h2", {}, t("looms.for")), h("div", { class: "fields" }, field(t("looms.for.loom"), choose),
    field(t("looms.for.sett"), h("input", { name: "sett", inputmode: "decimal", required: true })), field(t("looms.for.width"), h("input", { name: "width", autocomplete: "off" })),
    h("button", { class: "first" }, t("looms.for.do"))));

  function draw() {
    empty.hidden = looms.length > 0;
    find.hidden = looms.length === 0;
    choose.replaceChildren(...looms.map((l) => h("option", { value: l.name }, l.name)));
    list.replaceChildren(...looms.map((l) => h("li", {}, h("span", { class: "what" }, l.name),
      h("dl", { class: "facts small" }, lengths.filter((k) => l[k]).map((k) => [h("dt", {}, t("looms." + k)), h("dd", {}, length(l[k]))]), l.shafts ? [h("dt", {}, t("looms.shafts")), h("dd", {}, String(l.shafts))] : ""),
      h("p", { class: "small" }, [l.advice, l.question].filter(Boolean).map(sentence).join(" ")),
      h("div", { class: "row noprint" }, h("button", { type: "button", "aria-label": `${t("looms.change")}: ${l.name}`, onclick: () => {
        name.value = l.name;
        for (const k of lengths) inputs[k].value = written(l[k]);
        shafts.value = l.shafts || "";
        name.focus();
      } }, t("looms.change")), removal(l)))));
  }
  // removal asks once more before it removes.
  function removal(l) {
    const b = h("button", { type: "button", onclick: async () => {
      if (!b.sure) { b.sure = true; b.textContent = t("looms.remove.sure", { name: l.name }); return; }
      await drop("/looms/" + encodeURIComponent(l.name));
      looms = looms.filter((x) => x !== l);
      draw();
    }, "aria-label": `${t("looms.remove")}: ${l.name}` }, t("looms.remove"));
    return b;
  }
  show(t("looms.title"), h("h1", {}, t("looms.title")), empty, list, find, results, edit);
  draw();
}
