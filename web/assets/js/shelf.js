// The shelf: search, print, add.
import { t } from "./strings.js";
import { h, show, say, field, form } from "./dom.js";
import { get, post } from "./api.js";
import { length, odds } from "./units.js";
import { openFile } from "./answer.js";

const page = 50;
// asked is what was last looked for; it stays while a part is looked at.
const asked = { text: "", size: "", only: "", sort: "", loom: "" };

export async function shelfView() {
  const { looms } = await get("/looms");
  const list = h("ul", { class: "parts" }), found = h("p", { role: "status", class: "soft" });
  const more = h("button", { type: "button", hidden: true, onclick: () => load(false) }, t("shelf.more"));
  let parts = [];
  const query = () => new URLSearchParams(Object.entries(asked).filter(([, v]) => v));
  async function load(anew) {
    const q = query();
    q.set("limit", page);
    q.set("offset", anew ? 0 : parts.length);
    const r = await get("/parts?" + q);
    parts = anew ? r.parts : [...parts, ...r.parts];
    list.replaceChildren(...parts.map(partItem));
    const any = Object.values(asked).some(Boolean);
    found.textContent = parts.length ? t("shelf.found", { n: r.count }) : t(any ? "shelf.none" : "shelf.empty");
    more.hidden = parts.length >= r.count;
    printing.hidden = parts.length === 0;
    if (anew) say(found.textContent);
  }
  const select = (name, options) => h("select", { name }, options.map(([v, words]) => h("option", { value: v, selected: v === asked[name] }, words)));
  const search = form(async (data) => {
    for (const k of Object.keys(asked)) asked[k] = data.get(k)?.trim() ?? "";
    await load(true);
  },
  h("div", { class: "fields" },
    field(t("shelf.text"), h("input", { name: "text", type: "search", value: asked.text })),
    field(t("shelf.size"), h("input", { name: "size", value: asked.size, autocomplete: "off", placeholder: t("shelf.size.hint") })),
    field(t("shelf.which"), select("only", [["", t("shelf.which.all")], ["doubtful", t("shelf.which.doubtful")], ["sure", t("shelf.which.sure")]])),
    field(t("shelf.sort"), select("sort", [["", t("shelf.sort.doubt")], ["size", t("shelf.sort.size")], ["length", t("shelf.sort.length")], ["age", t("shelf.sort.age")]])),
    field(t("shelf.fits"), select("loom", [["", t("shelf.fits.any")], ...looms.map((l) => [l.name, l.name])])),
    h("button", { class: "first" }, t("shelf.search"))));
  search.setAttribute("role", "search");

  const grid = h("select", {}, [["8x3", "8 × 3"], ["7x3", "7 × 3"], ["10x3", "10 × 3"], ["4x2", "4 × 2"]].map(([v, w]) => h("option", { value: v }, w)));
  const paper = h("select", {}, ["A4", "Letter"].map((v) => h("option", { value: v }, v)));
  const save = (words, path, name) => h("button", { type: "button", onclick: () => openFile("GET", path(), name).catch((err) => say(err.title)) }, words);
  const printing = h("details", { class: "card noprint" }, h("summary", {}, t("shelf.print")),
    h("div", { class: "fields" }, field(t("shelf.paper"), paper), field(t("shelf.grid"), grid)),
    h("div", { class: "row" },
      save(t("shelf.labels"), () => `/labels?${new URLSearchParams({ ids: parts.map((p) => p.id).join(","), grid: grid.value, paper: paper.value })}`, "labels.pdf"),
      save(t("shelf.sheet"), () => `/sheet/shelf.pdf?${query()}&paper=${paper.value}`, "shelf.pdf"),
      save(t("shelf.csv"), () => `/sheet/shelf.csv?${query()}`, "shelf.csv"),
      h("button", { type: "button", onclick: () => print() }, t("shelf.page"))));

  const tags = h("details", { class: "card noprint" }, h("summary", {}, t("shelf.tags")), form(async (data) => {
    await openFile("POST", "/tags", "tags.pdf", { n: Number(data.get("n")), paper: data.get("paper") });
  }, h("p", {}, t("shelf.tags.lead")), h("div", { class: "fields" },
    field(t("shelf.tags.n"), h("input", { name: "n", type: "number", min: "1", max: "240", value: "12" })),
    field(t("shelf.paper"), h("select", { name: "paper" }, ["A4", "Letter"].map((v) => h("option", { value: v }, v)))),
    h("button", {}, t("shelf.tags.make")))));

  const add = h("details", { class: "card noprint" }, h("summary", {}, t("shelf.add")), form(async (data) => {
    const body = {};
    for (const k of ["size", "kind", "length", "name", "place"]) if (data.get(k)) body[k] = data.get(k);
    const p = await post("/parts", body);
    location.hash = "#/part/" + p.id;
  }, h("div", { class: "fields" },
    field(t("part.size"), h("input", { name: "size", autocomplete: "off" }), t("shelf.size.hint")),
    field(t("part.kind"), h("select", { name: "kind" }, ["reed", "rigid-heddle"].map((v) => h("option", { value: v }, t("fact.part." + v))))),
    field(t("part.length"), h("input", { name: "length", autocomplete: "off" }), t("part.length.hint")),
    field(t("part.name"), h("input", { name: "name" })),
    field(t("part.place"), h("input", { name: "place" }))),
  h("div", { class: "row" }, h("button", { class: "first" }, t("shelf.add.do")))));

  show(t("shelf.title"), h("h1", {}, t("shelf.title")), search, found, list, h("div", { class: "row" }, more), printing, add, tags);
  await load(true);
}

// sizeOf is a part's size in words.
export function sizeOf(p) {
  const kind = t(p.kind === "rigid-heddle" || p.kind === "reed" ? "fact.part." + p.kind : "fact.part.reed");
  if (!p.size) return `${kind}, ${t("shelf.unknown")}`;
  const unit = p.size.system === "inch" ? " " + t("answer.perInch") : "";
  return `${p.size.system === "none" ? t("answer.none") : p.size.label}${unit}, ${kind}`;
}

// sureOf says whose word the size is.
export function sureOf(p) {
  if (!p.size) return "";
  if (p.size.by === "person") return t("part.by.person");
  return p.doubt ? "" : t("part.sure", { odds: odds(p.size.confidence) });
}

function partItem(p) {
  return h("li", { class: p.state },
    h("a", { class: "what", href: "#/part/" + p.id }, sizeOf(p)),
    h("span", { class: "small soft" }, h("span", { class: "id" }, p.id), [p.name, p.place, p.length ? length(p.length.in) : "", p.gone ? t("shelf.gone") : "", sureOf(p)].filter(Boolean).map((s) => " · " + s).join("")),
    p.doubt ? h("span", { class: "small" }, t("shelf.which.doubtful") + ": " + p.doubt) : "");
}
