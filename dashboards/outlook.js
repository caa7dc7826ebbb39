// Three weeks back, three weeks ahead: what was counted at the comb, carried on.

import { h } from "./dom.js";
import { dayKey, number } from "./words.js";

const WIDE = 420;
const HIGH = 200;
const LEFT = 54;
const FOOT = 26;
const TOP = 10;
const WEEKS = [-21, -14, -7, 0, 7, 14, 21];
const NAMES = new Map([[-21, "3 weeks ago"], [0, "today"], [21, "in 3 weeks"]]);

const svg = (tag, attributes = {}, ...children) => {
  const element = document.createElementNS("http://www.w3.org/2000/svg", tag);
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, String(value));
  element.append(...children);
  return element;
};

/** Whether people counted anything lately, of this colony, that an outlook could start from. */
export function canLookAhead(events, now) {
  const seen = events.filter((event) => event.what === "inspection" && !event.inspection.withdrawn);
  const given = seen.filter((event) => event.inspection.actions?.some(({ what }) => what === "given away"));
  const oldest = Math.max(new Date(now) - 60 * 86400000, ...given.map((event) => new Date(event.at).getTime() + 1));
  return seen.some((event) => new Date(event.at) >= oldest
    && (event.inspection.brood || event.inspection.adults || event.inspection.frames?.length));
}

/** Bees that people counted, as `[{day, bees}]`, days counted from today. */
function counted(events, now, zone) {
  const dayOf = (time) => Date.parse(dayKey(time, zone)) / 86400000;
  return events.filter(({ inspection }) => inspection?.adults && !inspection.withdrawn)
    .map(({ at, inspection }) => ({ day: dayOf(at) - dayOf(now), bees: inspection.adults }))
    .filter(({ day }) => day >= WEEKS[0]);
}

/** The part of a hive's page; `outlook` is the API's, or null, `events` what people saw. */
export function outlookPart(outlook, events, now, zone) {
  if (outlook === null) {
    return [h("p", { class: "quiet" },
      "Count brood or bees at a visit and write it down: then this looks three weeks back and three weeks ahead.")];
  }
  const of = (name) => outlook.days.map((row) => ({ day: row.day, ...row[name] }));
  return [
    h("ul", { class: "reading" }, outlook.reading.map((line) => h("li", {}, line))),
    h("p", { class: "quiet small" }, "Line: most likely. Band: the truth lies in it eight times in ten. Ring: counted at a visit."),
    h("div", { class: "charts abreast" },
      chart("Eggs laid a day", outlook.laying, "line-2"),
      chart("Young bees emerging a day", of("emerging"), "line-2"),
      chart("Adult bees", of("adults"), "line-1", counted(events, now, zone)),
      chart("Foragers among them", of("foragers"), "line-3")),
  ];
}

/** A line with the band in which the truth lies eight times in ten, and rings for what was counted. */
function chart(title, days, line, seen = []) {
  const most = nice(Math.max(...days.map((one) => one.high), ...seen.map((one) => one.bees), 1));
  const x = (day) => LEFT + ((day + 21) / 42) * (WIDE - LEFT - 8);
  const y = (bees) => TOP + (1 - bees / most) * (HIGH - FOOT - TOP);
  const points = (name, list) => list.map((one) => `${x(one.day).toFixed(1)},${y(one[name]).toFixed(1)}`);
  const grid = [0, 0.5, 1].flatMap((part) => [
    svg("line", { class: "grid", x1: LEFT, x2: WIDE - 8, y1: y(part * most), y2: y(part * most) }),
    svg("text", { x: LEFT - 8, y: y(part * most) + 4, "text-anchor": "end" }, number(part * most, 0)),
  ]);
  const weeks = WEEKS.flatMap((day) => [
    svg("line", { class: day === 0 ? "today" : "grid", x1: x(day), x2: x(day), y1: TOP, y2: HIGH - FOOT }),
    ...(NAMES.has(day) ? [svg("text", {
      x: x(day), y: HIGH - 8, "text-anchor": day < 0 ? "start" : day > 0 ? "end" : "middle",
    }, NAMES.get(day))] : []),
  ]);
  const last = days.at(-1);
  return h("figure", { class: "chart ahead" },
    h("figcaption", {}, h("h3", {}, title)),
    svg("svg", {
      viewBox: `0 0 ${WIDE} ${HIGH}`, role: "img", class: line,
      "aria-label": `${title}: ${number(last.median, 0)} in three weeks, between ${number(last.low, 0)} and ${number(last.high, 0)}`,
    }, ...grid, ...weeks,
    svg("polygon", { class: "band", points: [...points("high", days), ...points("low", [...days].reverse())].join(" ") }),
    svg("polyline", { class: "line", points: points("median", days).join(" ") }),
    ...seen.map(({ day, bees }) => svg("circle", { class: "counted", cx: x(day), cy: y(bees), r: 5 },
      svg("title", {}, `${number(bees, 0)} counted, ${-day} days ago`)))),
    h("details", {}, h("summary", {}, "The same as a table"),
      h("div", { class: "scroll", tabindex: "0", role: "region", "aria-label": `${title}, by day` }, table(days))));
}

function table(days) {
  const shown = days.filter((one) => one.day % 7 === 0);
  return h("table", {},
    h("thead", {}, h("tr", {}, ["Day", "Low", "Most likely", "High"].map((name, i) => h("th", { scope: "col", class: i > 0 ? "number" : null }, name)))),
    h("tbody", {}, shown.map((one) => h("tr", {}, h("th", { scope: "row" }, NAMES.get(one.day) ?? `${one.day > 0 ? "in" : ""} ${Math.abs(one.day)} days${one.day < 0 ? " ago" : ""}`),
      [one.low, one.median, one.high].map((bees) => h("td", { class: "number" }, number(bees, 0)))))));
}

/** Round up to a number that reads well. */
function nice(most) {
  const ten = 10 ** Math.floor(Math.log10(most));
  return [1, 2, 4, 5, 8, 10].map((n) => n * ten).find((n) => n >= most);
}
