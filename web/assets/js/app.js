// The page's frame: which view is shown.
import { t } from "./strings.js";
import { h, show, problem } from "./dom.js";
import { measureView } from "./take.js";
import { answerView } from "./answer.js";
import { guideView } from "./guide.js";
import { boxView } from "./box.js";
import { joinedView } from "./joined.js";
import { shelfView } from "./shelf.js";
import { partView } from "./part.js";
import { loomsView } from "./looms.js";
import { ordersView } from "./orders.js";
import { settingsView } from "./settings.js";

const views = { "": measureView, photo: answerView, guide: guideView, box: boxView, joined: joinedView, shelf: shelfView, part: partView, looms: loomsView, orders: ordersView, settings: settingsView };
const section = { "": "", photo: "", guide: "", box: "", joined: "", shelf: "shelf", part: "shelf", looms: "looms", orders: "orders", settings: "settings" };

let leave = null; // what the shown view wants done when it goes

async function route() {
  leave?.();
  leave = null;
  const [name, ...rest] = location.hash.replace(/^#\/?/, "").split("/").map(decodeURIComponent);
  for (const a of document.querySelectorAll("#nav a")) {
    if (a.hash.replace(/^#\/?/, "") === section[name]) a.setAttribute("aria-current", "page");
    else a.removeAttribute("aria-current");
  }
  const view = views[name];
  try {
    if (!view) throw { title: t("fault.gone") };
    leave = (await view(...rest)) ?? null;
  } catch (err) {
    if (err.name === "AbortError") return;
    show(t("fault.unknown"), h("h1", {}, t("fault.unknown")), problem(fault(err)));
  }
  if (moved) document.getElementById("main").focus({ preventScroll: true });
  if (moved) scrollTo(0, 0);
  moved = true;
}
let moved = false; // the first view leaves the focus where the browser put it

function fault(err) {
  if (err.title === "no-server" || err.message === "no-server") return { title: t("fault.server"), advice: t("fault.server.advice") };
  if (!err.title) console.error(err);
  return err.title ? err : { title: t("fault.unknown") };
}

for (const e of document.querySelectorAll("[data-t]")) e.textContent = t(e.dataset.t);
for (const e of document.querySelectorAll("[data-t-label]")) e.setAttribute("aria-label", t(e.dataset.tLabel));
document.querySelector(".skip").addEventListener("click", (ev) => { ev.preventDefault(); document.getElementById("main").focus(); });
addEventListener("hashchange", route);
route();
