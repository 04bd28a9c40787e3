// Many photos at once: each is sent, measured and listed, what is doubtful
// first, and all are kept together.
import { t } from "./strings.js";
import { h, show, say, problem, capital, sentence } from "./dom.js";
import { post, measured } from "./api.js";
import { toMeasure } from "./take.js";

// What was measured stays while one of its photos is looked at.
let box = null;

export function boxView(which) {
  if (which === "new" && toMeasure.photos.length) {
    box = { photos: toMeasure.photos.map((file) => ({ file, name: file.name, state: "sending" })), facts: toMeasure.facts, kept: null };
    toMeasure.photos = [];
    const mine = box;
    work(mine).catch((err) => console.error(err));
    location.replace("#/box");
    return;
  }
  if (!box) { location.replace("#/"); return; }
  draw();
  return () => { shown = null; };
}

// At most so many are under way at once; the server's queue does the rest.
const together = 3;
let shown = null; // what draws the list that is in view

async function work(b) {
  const left = [...b.photos];
  const one = async () => {
    for (let p = left.shift(); p; p = left.shift()) {
      try {
        const held = await measured(p.file, b.facts, (at) => { p.state = at.state ?? "sending"; p.ahead = at.ahead; refresh(); });
        Object.assign(p, { state: "done", held });
      } catch (err) {
        Object.assign(p, { state: "failed", err: err.title === "no-server" ? { title: t("fault.server"), advice: t("fault.server.advice") } : err });
      }
      p.file = null;
      refresh();
    }
  };
  await Promise.all(Array.from({ length: together }, one));
  if (b === box) say(t("box.lead", { done: b.photos.length, all: b.photos.length }));
}

const refresh = () => shown?.();

const rank = (p) => (p.state === "failed" ? 0 : p.held ? { refused: 1, unsure: 2, answered: 4 }[p.held.result.status] : 3);

function draw() {
  const lead = h("p", { role: "status" }), bar = h("progress", { "aria-label": t("box.title") }), list = h("ul", { class: "parts" });
  const trouble = h("div"), done = h("div", { class: "row" });
  const group = h("input", { type: "checkbox", checked: true });
  const keep = h("button", { type: "button", class: "first", id: "keep-all", onclick: async () => {
    keep.disabled = true;
    trouble.replaceChildren();
    try {
      const ids = box.photos.filter((p) => p.held).map((p) => p.held.id);
      box.kept = (await post("/parts/from-photos", { photos: ids, group: group.checked ? "name" : "none" })).parts;
    } catch (err) {
      trouble.replaceChildren(problem(err));
    }
    refresh();
  } }, t("box.keep"));
  show(t("box.title"), h("div", { class: "card" }, h("h1", {}, t("box.title")), lead, bar,
    h("label", { class: "check" }, group, t("box.group")), h("div", { class: "row" }, keep), done, trouble), list);
  shown = () => {
    const all = box.photos.length, ready = box.photos.filter((p) => p.state === "done" || p.state === "failed").length;
    lead.textContent = t("box.lead", { done: ready, all });
    bar.max = all;
    bar.value = ready;
    bar.hidden = ready === all;
    keep.disabled = ready < all || Boolean(box.kept) || !box.photos.some((p) => p.held);
    done.replaceChildren(...(box.kept ? [h("p", { role: "status" }, t("box.kept", { n: box.kept.length }), " ", h("a", { href: "#/shelf" }, t("part.back")))] : []));
    list.replaceChildren(...[...box.photos].sort((a, b) => rank(a) - rank(b)).map(item));
  };
  refresh();
}

function item(p) {
  const status = p.state === "failed" ? "failed" : p.held?.result.status ?? "waiting";
  const words = p.held ? capital(p.held.words.head) : p.state === "waiting" ? t("send.waiting", { n: p.ahead }) : p.state === "failed" ? sentence(p.err.title ?? t("fault.photo")) : p.state === "measuring" ? t("send.measuring") : t("send.yours");
  const more = p.held ? [p.held.words.why, p.held.words.do].filter(Boolean).map(sentence).join(" ") : p.err?.advice ? sentence(p.err.advice) : "";
  return h("li", { class: status }, h("span", { class: "what" }, words), h("span", { class: "small soft" }, p.name), more ? h("span", { class: "small" }, more) : "",
    p.held ? h("a", { href: "#/photo/" + p.held.id, "aria-label": `${t("box.open")}: ${p.name}` }, t("box.open")) : "");
}
