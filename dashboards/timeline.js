// A yard's timeline: what was found, seen, told, asked and moved, the newest first; also on paper.

import { answers } from "./answers.js";
import { get, kinds, list } from "./api.js";
import { fill, h } from "./dom.js";
import { became, sentences } from "./hive.js";
import { head, span, status, sure, when } from "./words.js";

const KINDS = [
  ["finding", "Found"], ["inspection", "Seen"], ["alert", "Told"], ["question", "Asked"], ["device", "Devices"],
];
const NAMES = new Map(KINDS);
const PAGE = 100;

export function timelinePage(id) {
  const state = { what: new Set(["finding", "inspection", "question", "device"]), pages: 1 };
  const page = { page: "yards", title: `Timeline of ${id}`, load: () => load(id, state),
    render: (main, data) => render(main, data, state, page) };
  return page;
}

async function load(id, state) {
  const [yards, words] = await Promise.all([list("yards"), kinds()]);
  const yard = yards.items.find((one) => one.id === id);
  const what = [...state.what];
  const events = [];
  let next = null;
  let now = yards.now;
  for (let n = 0; n < state.pages && (n === 0 || next); n += 1) {
    const page = await get(`yards/${id}/timeline`, { what, limit: PAGE, after: next });
    events.push(...page.items);
    ({ next, now } = page);
  }
  return { id, yard, words, events, more: next !== null, now, zone: yard?.timezone ?? "UTC" };
}

function render(main, { id, yard, words, events, more, now, zone }, state, page) {
  fill(main, [
    h("div", { class: "headline" },
      h("p", { class: "quiet" }, h("a", { href: "#/round" }, "Round"), ` / ${yard?.name ?? id}`),
      h("h1", {}, `What happened at ${yard?.name ?? id}`)),
    h("fieldset", { class: "spans" }, h("legend", {}, "Show"), KINDS.map(([name, label]) =>
      h("label", { "data-key": name }, h("input", {
        type: "checkbox", value: name, checked: state.what.has(name), onchange: (event) => choose(event, state, page),
      }), h("span", {}, label)))),
    h("section", { "aria-label": "Timeline" },
      events.length === 0 ? h("p", { class: "empty" }, "Nothing so far.")
        : h("ol", { class: "story" }, events.map((event) => entry(event, words, zone, now, page)))),
    h("p", { class: "buttons" },
      more ? h("button", { type: "button", class: "second", onclick: () => { state.pages += 1; page.again(); } }, "Earlier") : null,
      h("button", { type: "button", class: "second", onclick: () => window.print() }, "Print")),
  ]);
}

function choose(event, state, page) {
  const { value, checked } = event.currentTarget;
  if (checked) state.what.add(value);
  else if (state.what.size > 1) state.what.delete(value);
  else event.currentTarget.checked = true; // nothing at all is no timeline
  state.pages = 1;
  page.again();
}

function entry(event, words, zone, now, page) {
  return h("li", { "data-key": `${event.what}-${event.id}-${event.at}` },
    h("time", { datetime: event.at }, when(event.at, zone, now)),
    h("span", { class: "quiet" }, NAMES.get(event.what)),
    h("div", {}, SAY[event.what](event[event.what], words, zone, now, page)));
}

const hive = (name) => h("a", { href: `#/hive/${name}` }, name);

const SAY = {
  finding: (one, words, zone, now) => {
    const [what, name] = one.subject.split(":");
    return [h("p", {}, what === "hive" ? [hive(name), ": "] : null,
      h("strong", {}, head(one, words.get(one.kind))), `, ${span(one, zone, now)}; ${status(one)}, ${sure(one.confidence)}`),
    one.evidence.length > 0 ? h("p", { class: "quiet small" }, `${one.evidence.join("; ")}.`) : null];
  },
  inspection: (one) => [h("p", { class: one.withdrawn ? "quiet" : null }, hive(one.hive), one.by ? ` by ${one.by}` : "",
    became(one) ? [" (", h("strong", {}, became(one)), ")"] : null, `: ${sentences(one).join(" ")}`)],
  alert: (one) => [h("p", {}, one.title, h("span", { class: "quiet" }, ` ${one.state} (${one.reason})`))],
  question: (one, words, zone, now, page) => [h("p", {}, hive(one.hive), `. ${one.text}`), answers(one, page.again)],
  device: (one) => [h("p", {}, `${one.text}.`)],
};
