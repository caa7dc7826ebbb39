// Shows the page that the address names, and asks again every few seconds while somebody looks.

import { alertsPage } from "./alerts.js";
import { h } from "./dom.js";
import { hivePage } from "./hive.js";
import { roundPage } from "./round.js";
import { day, clock as timeOfDay } from "./words.js";
import { timelinePage } from "./timeline.js";
import { yardsPage } from "./yards.js";

const EVERY_MS = 4000;
const main = document.getElementById("main");
const trouble = document.getElementById("trouble");
const clock = document.getElementById("clock");

let view = null;
let timer = 0;

function choose() {
  const [name = "", id = ""] = location.hash.replace(/^#\/?/, "").split("/").map(decodeURIComponent);
  if (name === "hive" && id) return hivePage(id);
  if (name === "alerts") return alertsPage();
  if (name === "round") return roundPage();
  if (name === "yard" && id) return timelinePage(id);
  return yardsPage();
}

function open() {
  view?.close?.();
  view = choose();
  document.title = `${view.title} · hivewatch`;
  for (const link of document.querySelectorAll("nav a")) {
    if (link.dataset.page === view.page) link.setAttribute("aria-current", "page");
    else link.removeAttribute("aria-current");
  }
  main.replaceChildren(h("p", { class: "quiet" }, "One moment …"));
  view.again = refresh;
  return refresh();
}

async function refresh() {
  clearTimeout(timer);
  const mine = view;
  try {
    const data = await mine.load();
    if (mine !== view) return;
    mine.render(main, data);
    if (data.zone) clock.textContent = `${day(data.now, data.zone)}, ${timeOfDay(data.now, data.zone)}`;
    trouble.hidden = true;
  } catch (error) {
    if (mine !== view) return;
    complain(error);
  }
  if (!document.hidden) timer = setTimeout(refresh, EVERY_MS);
}

function complain(error) {
  if (error.status === 404) {
    main.replaceChildren(
      h("h1", {}, "Nothing here"), h("p", {}, error.message), h("p", {}, h("a", { href: "#/" }, "To the yards")),
    );
    return;
  }
  const words = error.status
    ? `hivewatch could not answer: ${error.message}`
    : "No answer from hivewatch. What you see may be old; it is asked again every few seconds.";
  if (trouble.textContent !== words) trouble.textContent = words;
  trouble.hidden = false;
  if (!error.status && !(error instanceof TypeError)) console.error(error);
}

addEventListener("hashchange", () => { open(); main.focus({ preventScroll: true }); scrollTo(0, 0); });
document.addEventListener("visibilitychange", () => { if (!document.hidden) refresh(); });
document.querySelector(".skip").addEventListener("click", (event) => {
  event.preventDefault();
  main.focus();
});
open();
