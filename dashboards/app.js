// Shows the page that the address names, and asks again every few seconds while somebody looks.

import { alertPage, alertsPage } from "./alerts.js";
import { h } from "./dom.js";
import { outdate } from "./due.js";
import { hivePage } from "./hive.js";
import { follow } from "./live.js";
import { quarantinePage } from "./quarantine.js";
import { roundPage } from "./round.js";
import { day, clock as timeOfDay, zoneName } from "./words.js";
import { timelinePage } from "./timeline.js";
import { yardsPage } from "./yards.js";

const EVERY_MS = 4000; // where nobody says what is new
const REST_MS = 1500; // so often at most, however much is new
const CLOCK_MS = 10000; // time passes, too, and a silent server must be noticed
const main = document.getElementById("main");
const trouble = document.getElementById("trouble");
const clock = document.getElementById("clock");

let view = null;
let timer = 0;
let readMs = 0;
const live = follow((what) => {
  if (what !== "readings") outdate(); // readings alone change no round
  soon(Math.max(50, REST_MS - (Date.now() - readMs)));
});

function choose() {
  const [name, id = "", part = ""] = location.hash.replace(/^#\/?/, "").split("/").map(decoded);
  if (name === "hive" && id) return part === "timeline" ? timelinePage("hives", id) : hivePage(id);
  if (name === "alert" && /^\d+$/.test(id)) return alertPage(Number(id));
  if (name === "alerts") return alertsPage();
  if (name === "quarantine") return quarantinePage();
  if (name === "round") return roundPage();
  if (name === "yard" && id) return timelinePage("yards", id);
  return name === "" ? yardsPage() : noPage;
}

/** A part of the address; null where it is no text that an address can stand for. */
function decoded(part) {
  try {
    return decodeURIComponent(part);
  } catch {
    return null;
  }
}

const noPage = {
  title: "Nothing here",
  load: () => Promise.reject(Object.assign(new Error("There is no such page."), { status: 404 })),
};

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

/** Read the page again in so many milliseconds. */
function soon(ms) {
  clearTimeout(timer);
  if (!document.hidden) timer = setTimeout(refresh, ms);
}

async function refresh() {
  clearTimeout(timer);
  const mine = view;
  readMs = Date.now();
  let isWell = true;
  try {
    const data = await mine.load();
    if (mine !== view) return;
    mine.render(main, data);
    if (data.zone) {
      const [weekday, ...date] = day(data.now, data.zone).split(" ");
      clock.replaceChildren(h("span", { class: "wide" }, `${weekday} `),
        `${date.join(" ")}, ${timeOfDay(data.now, data.zone)}`, h("span", { class: "wide" }, ` ${zoneName(data.now, data.zone)}`));
    }
    trouble.hidden = true;
  } catch (error) {
    if (mine !== view) return;
    complain(error);
    isWell = false;
  }
  live.start();
  soon(live.isLive && isWell ? CLOCK_MS : EVERY_MS);
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
document.addEventListener("visibilitychange", () => {
  if (document.hidden) live.stop();
  else refresh();
});
addEventListener("pagehide", () => live.stop());
document.querySelector(".skip").addEventListener("click", (event) => {
  event.preventDefault();
  main.focus();
});
open();
