// Order sheets: made out, printed, kept, followed.
import { t } from "./strings.js";
import { h, show, say, field, form, sentence } from "./dom.js";
import { get, post, patch } from "./api.js";
import { openFile } from "./answer.js";

const states = ["draft", "sent", "received"];

// ordersView makes an order of one like the part with this id, or of what is said.
export async function ordersView(id) {
  const [{ looms }, { orders }] = await Promise.all([get("/looms"), get("/orders")]);
  const sheet = h("div", { class: "card", hidden: true, "aria-live": "polite" });
  const list = h("ul", { class: "parts" });
  let wish;
  const select = (name, options) => h("select", { name }, options.map(([v, words]) => h("option", { value: v }, words)));
  const text = (name, hint, more = {}) => [h("input", { name, autocomplete: "off", ...more }), hint];
  const make = form(async (data) => {
    wish = {};
    for (const k of ["title", "kind", "size", "length", "height", "finish", "loom", "warp_width"]) if (data.get(k)?.trim()) wish[k] = data.get(k).trim();
    for (const k of ["quantity", "caps", "sett", "shafts"]) if (data.get(k)) wish[k] = Number(data.get(k));
    if (id) wish.parts = [id];
    draw(await post("/orders", wish));
  }, h("h2", {}, id ? t("order.like", { id }) : t("order.make")),
  h("div", { class: "fields" },
    field(t("order.kind"), select("kind", [["", id ? t("order.kind.same") : "–"], ...["reed", "rigid-heddle", "wire-heddle", "string-heddle"].map((k) => [k, t("order.kind." + k)])])),
    field(t("part.size"), ...text("size", t("shelf.size.hint"))),
    field(t("order.quantity"), ...text("quantity", "", { type: "number", min: "1" })),
    field(t("order.length"), ...text("length", t("part.length.hint"))),
    field(t("part.height"), ...text("height", t("part.length.hint"))),
    field(t("looms.for.loom"), select("loom", [["", "–"], ...looms.map((l) => [l.name, l.name])])),
    field(t("order.finish"), ...text("finish", "")),
    field(t("order.caps"), select("caps", [["", "–"], ["1", "1"], ["2", "2"]])),
    field(t("looms.for.width"), ...text("warp_width", t("order.need.hint"))),
    field(t("looms.for.sett"), ...text("sett", "", { type: "number", min: "0.1", step: "any" })),
    field(t("order.title"), ...text("title", ""))),
  h("div", { class: "row" }, h("button", { class: "first", id: "make-order" }, t("order.do"))));

  function draw({ sheet: s, uid }) {
    sheet.hidden = false;
    const save = (as, words) => h("button", { type: "button", onclick: () => openFile("POST", "/orders", "order." + as, { ...wish, as }).catch((err) => say(err.title)) }, words);
    sheet.replaceChildren(h("h2", {}, s.sure ? t("order.ready") : t("order.asks")),
      h("ul", { class: "parts" }, s.lines.map((l) => h("li", { class: l.status === "filled" ? "answered" : "unsure" },
        l.words ? h("span", { class: "what" }, l.words) : "",
        l.questions.length ? [h("h3", {}, t("order.question")), h("ul", {}, l.questions.map((q) => h("li", {}, sentence(q))))] : "",
        l.confirm.length ? [h("h3", {}, t("order.confirm")), h("ul", { class: "small" }, l.confirm.map((q) => h("li", {}, sentence(q))))] : ""))),
      h("div", { class: "row" }, save("pdf", t("order.pdf")), save("csv", t("order.csv")),
        uid ? h("p", {}, t("order.kept", { uid })) : s.sure ? h("button", { type: "button", id: "keep-order", onclick: async () => {
          const r = await post("/orders", { ...wish, keep: true });
          draw(r);
          orders.unshift(await get("/orders/" + r.uid));
          drawList();
        } }, t("order.keep")) : ""));
    say(s.sure ? t("order.ready") : t("order.asks"));
  }
  function drawList() {
    list.replaceChildren(...orders.map((o) => {
      const lines = h("span", { class: "small" }, o.lines?.join("; ") ?? "");
      if (!o.lines) get("/orders/" + o.uid).then((whole) => { o.lines = whole.lines ?? []; lines.textContent = o.lines.join("; "); }, () => {});
      return h("li", { class: o.state === "received" ? "answered" : "unsure" }, h("span", { class: "what" }, o.title || t("order.untitled", { date: new Date(o.at).toLocaleDateString() })), lines,
        h("label", {}, t("order.state"), h("select", { onchange: async (ev) => {
          Object.assign(o, await patch("/orders/" + o.uid, { state: ev.target.value }));
          say(t("part.saved"));
        } }, states.map((s) => h("option", { value: s, selected: s === o.state }, t("order.state." + s))))));
    }));
  }
  show(t("orders.title"), h("h1", {}, t("orders.title")), make, sheet, orders.length ? h("h2", {}, t("orders.kept")) : "", list);
  drawList();
}
