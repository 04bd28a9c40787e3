// One part of the shelf: what is known of it, and a person's word.
import { t, has } from "./strings.js";
import { h, show, say, field, form, sentence, capital } from "./dom.js";
import { get, post, patch } from "./api.js";
import { length } from "./units.js";
import { openFile } from "./answer.js";
import { sizeOf, sureOf } from "./shelf.js";

const lengths = [["length", "length"], ["sley_width", "sley-width"], ["height", "height"]];
const fieldName = (f) => (has("part." + f) ? t("part." + f) : f);

export async function partView(id) {
  const path = "/parts/" + encodeURIComponent(id);
  const { looms } = await get("/looms");
  draw(await get(path));

  function draw({ part: p, evidence, said }, words) {
    const refresh = (now, told) => { draw(now, told); };
    const settle = async (body) => refresh(await post(path + "/settle", body), t("part.saved"));
    const spoken = [...new Set(said.filter((s) => !s.withdrawn).map((s) => s.field))].filter((f) => !said.findLast((s) => s.field === f).withdrawn);
    show(t("part.title", { id: p.id }),
      h("div", { class: "card answer " + (p.state === "unsure" || p.state === "refused" ? p.state : "answered") },
        h("p", { class: "small" }, h("a", { href: "#/shelf" }, "‹ " + t("part.back"))),
        h("h1", {}, sizeOf(p)),
        h("p", { class: "soft" }, h("span", { class: "id" }, p.id), [p.name, p.place, p.size?.other, sureOf(p), p.gone ? t("shelf.gone") : ""].filter(Boolean).map((s) => " · " + s).join("")),
        p.note ? h("p", {}, p.note) : "",
        h("dl", { class: "facts" }, lengths.filter(([k]) => p[k]).map(([k, f]) => [h("dt", {}, t("part." + f)), h("dd", {}, `${length(p[k].in, p[k].by === "photo" ? p[k].u : 0)}, ${t("part.by." + p[k].by)}`)])),
        p.doubt ? h("div", { class: "todo" }, h("h2", { class: "h3" }, t("answer.todo")), h("p", {}, [p.doubt, p.advice].filter(Boolean).map(sentence).join(" "))) : "",
        h("div", { class: "row" }, h("button", { type: "button", id: "label", onclick: () => openFile("GET", `/labels?cut_lines=true&ids=${p.id}`, `label-${p.id}.pdf`).catch((err) => say(err.title)) }, t("answer.label")), h("a", { class: "button", href: "#/orders/" + p.id }, t("order.one")))),
      form(async (data) => {
        const body = {};
        for (const k of ["size", "kind", "length", "sley_width", "height", "note"]) if (data.get(k)) body[k] = data.get(k);
        await settle(body);
      }, h("h2", {}, t("part.settle")), h("p", { class: "hint" }, t("part.settle.lead")),
      h("div", { class: "fields" },
        field(t("part.size"), h("input", { name: "size", autocomplete: "off" }), t("shelf.size.hint")),
        ...lengths.map(([k, f]) => field(t("part." + f), h("input", { name: k, autocomplete: "off" }), t("part.length.hint"))),
        field(t("part.kind"), h("select", { name: "kind" }, h("option", { value: "" }, "–"), ["reed", "rigid-heddle"].map((v) => h("option", { value: v }, t("fact.part." + v))))),
        field(t("part.note"), h("input", { name: "note" }))),
      h("div", { class: "row" }, h("button", { class: "first", id: "settle" }, t("part.settle.do")),
        p.gone ? "" : h("button", { type: "button", onclick: () => settle({ gone: true }) }, t("part.gone.do")),
        spoken.map((f) => h("button", { type: "button", onclick: () => settle({ undo: f }) }, t("part.undo", { field: fieldName(f) }))))),
      evidence.length ? h("div", { class: "card" }, h("h2", {}, t("part.photos")), evidence.map((e) => h("figure", {},
        e.picture ? h("img", { src: e.picture, alt: t("part.picture", { name: e.name }), loading: "lazy", width: "640" }) : "", h("figcaption", { class: "small" }, `${e.name}: ${e.says}`)))) : "",
      p.kind === "reed" && looms.length ? form(async (data, f) => {
        const r = await get(`/looms/${encodeURIComponent(data.get("loom"))}/check/${p.id}`);
        f.querySelector(".fit").replaceChildren(h("h3", {}, t("fit." + r.fit)), h("p", {}, [r.reason, r.question, ...r.cautions].filter(Boolean).map(sentence).join(" ")));
      }, h("h2", {}, t("part.loom")), h("div", { class: "fields" }, field(t("looms.for.loom"), h("select", { name: "loom" }, looms.map((l) => h("option", { value: l.name }, l.name)))), h("button", {}, t("part.loom.do"))), h("div", { class: "fit", role: "status" })) : "",
      h("details", { class: "card" }, h("summary", {}, t("part.describe")), form(async (data) => refresh(await patch(path, { name: data.get("name"), place: data.get("place"), note: data.get("remark") }), t("part.saved")),
        h("div", { class: "fields" }, field(t("part.name"), h("input", { name: "name", value: p.name })), field(t("part.place"), h("input", { name: "place", value: p.place })), field(t("part.remark"), h("input", { name: "remark", value: p.note }))),
        h("div", { class: "row" }, h("button", {}, t("part.save"))))),
      said.length ? h("div", { class: "card" }, h("h2", {}, t("part.said")), h("ul", {}, said.map((s) => h("li", { class: "small" },
        (s.withdrawn ? t("part.said.undone", { date: day(s.at), field: fieldName(s.field) }) : capital(t("part.said.words", { date: day(s.at), field: fieldName(s.field), value: s.size || (s.in ? length(s.in) : "") }))) + (s.note ? ` (${s.note})` : ""))))) : "");
    if (words) say(words);
  }
}

const day = (at) => new Date(at).toLocaleDateString();
