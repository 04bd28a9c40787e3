// Building and changing the page. Text is always text: nothing here reads HTML.
import { t } from "./strings.js";

// h makes an element: h("p", {class: "soft", onclick: f}, "text", child).
export function h(tag, props = {}, ...children) {
  const e = document.createElement(tag);
  for (const [k, v] of Object.entries(props)) {
    if (v === undefined || v === null || v === false) continue;
    if (k.startsWith("on")) e.addEventListener(k.slice(2), v);
    else if (k in e && typeof v !== "string" && k !== "list") e[k] = v;
    else e.setAttribute(k, v === true ? "" : v);
  }
  e.append(...children.flat(Infinity).filter((c) => c !== undefined && c !== null && c !== false && c !== ""));
  return e;
}

// icon is one of the page's few signs; they never stand alone.
export function icon(path) {
  const s = document.createElementNS("http://www.w3.org/2000/svg", "svg");
  for (const [k, v] of Object.entries({ viewBox: "0 0 24 24", width: "22", height: "22", "aria-hidden": "true", fill: "none", stroke: "currentColor", "stroke-width": "2.2", "stroke-linecap": "round", "stroke-linejoin": "round" })) s.setAttribute(k, v);
  const p = document.createElementNS("http://www.w3.org/2000/svg", "path");
  p.setAttribute("d", path);
  s.append(p);
  return s;
}

export const signs = {
  answered: "M4 12.5l5.5 5.5L20 6.5",
  unsure: "M8.5 8.5a3.6 3.6 0 1 1 5.3 3.2c-1.2.7-1.8 1.3-1.8 2.8M12 18.6v.2",
  refused: "M6 6l12 12M18 6L6 18",
  camera: "M4 8h3l1.6-2.6h6.8L17 8h3v11H4zM12 16.4a3.2 3.2 0 1 0 0-6.4 3.2 3.2 0 0 0 0 6.4",
};

const live = () => document.getElementById("say");

// say tells a screen reader what has changed.
export function say(text) {
  live().textContent = "";
  requestAnimationFrame(() => { live().textContent = text; });
}

// show puts a view into the page and its heading into the reader's focus.
export function show(title, ...children) {
  const main = document.getElementById("main");
  main.className = "";
  main.replaceChildren(...children.filter(Boolean));
  document.title = title ? `${title} · dentcount` : "dentcount";
  return main;
}

// problem is what went wrong and what to do.
export function problem(err) {
  const p = h("div", { class: "problem", role: "alert" }, h("strong", {}, capital(err.title || t("fault.unknown"))), err.advice ? h("p", {}, capital(err.advice)) : "");
  return p;
}

export function capital(s) {
  return s ? s[0].toUpperCase() + s.slice(1) : s;
}

// sentence ends a clause that has no end of its own.
export function sentence(s) {
  return s && !/[.?!]$/.test(s) ? capital(s) + "." : capital(s);
}

// field is a labelled input.
export function field(label, input, hint) {
  if (hint) {
    const id = "hint-" + Math.random().toString(36).slice(2);
    input.setAttribute("aria-describedby", id);
    return h("label", {}, label, input, h("span", { class: "hint", id }, hint));
  }
  return h("label", {}, label, input);
}

// choices is a group of radio buttons; options are [value, words].
export function choices(legend, name, options, value, onchange) {
  return h("fieldset", {}, h("legend", {}, legend), h("div", { class: "choices" }, options.map(([v, words]) =>
    h("label", { class: "check" }, h("input", { type: "radio", name, value: v, checked: v === value, onchange: () => onchange(v) }), words))));
}

// form does work on submit, holds the button meanwhile and shows what went wrong.
export function form(work, ...children) {
  const trouble = h("div");
  const f = h("form", { class: "card", novalidate: true, onsubmit: async (ev) => {
    ev.preventDefault();
    trouble.replaceChildren();
    const buttons = f.querySelectorAll("button");
    buttons.forEach((b) => { b.disabled = true; });
    try {
      await work(new FormData(f), f);
    } catch (err) {
      trouble.replaceChildren(problem(err));
    } finally {
      buttons.forEach((b) => { b.disabled = false; });
    }
  } }, ...children, trouble);
  return f;
}
