// The timeline of a yard or a hive: what was found, seen, told, asked and moved, the newest first;
// also on paper.

import { answers } from "./answers.js";
import { get, kinds, list } from "./api.js";
import { fill, h } from "./dom.js";
import { became, sentences } from "./seen.js";
import { head, isEveryday, status, sure, until, when } from "./words.js";
import { whoField } from "./who.js";

const KINDS = [
  ["finding", "Found"], ["inspection", "Seen"], ["alert", "Told"], ["question", "Asked"], ["device", "Devices"],
];
const NAMES = new Map(KINDS);
const EVERYDAY = "everyday";
const PAGE = 200;
const SHOWN = 50; // own choice: entries that a look at a timeline, or at more of it, brings at least
const PAGES_MOST = 5; // own choice: requests for that

/** `of` is "yards" or "hives". */
export function timelinePage(of, id) {
  const state = { what: new Set(["finding", "inspection", "question", "device"]), wanted: SHOWN };
  const page = { page: "yards", title: `Timeline of ${id}`, load: () => load(of, id, state),
    render: (main, data) => render(main, data, state, page) };
  return page;
}

async function load(of, id, state) {
  const [yards, words, one] = await Promise.all([
    list("yards"), kinds(), of === "hives" ? get(`hives/${id}`) : null,
  ]);
  const yard = yards.items.find(({ id: name }) => name === (one?.yard ?? id));
  const what = [...state.what].filter((name) => name !== EVERYDAY);
  const isShown = ({ finding }) => !finding || !isEveryday(finding) || state.what.has(EVERYDAY);
  const events = [];
  let next = null;
  let now = yards.now;
  const most = PAGES_MOST * Math.ceil(state.wanted / SHOWN);
  for (let n = 0; n < most && events.length < state.wanted && (n === 0 || next); n += 1) {
    const page = await get(`${of}/${id}/timeline`, { what, limit: PAGE, after: next });
    events.push(...page.items.filter(isShown));
    ({ next, now } = page);
  }
  const shown = events.slice(0, state.wanted);
  return { id, of, yard, words, events: shown, more: next !== null || events.length > shown.length,
    now, zone: yard?.timezone ?? "UTC" };
}

function render(main, { id, of, yard, words, events, more, now, zone }, state, page) {
  const name = of === "hives" ? id : yard?.name ?? id;
  const above = of === "hives"
    ? [h("a", { href: "#/" }, "Yards"), ` / ${yard?.name} / `, h("a", { href: `#/hive/${id}` }, id)]
    : [h("a", { href: "#/" }, "Yards"), ` / ${name}`];
  fill(main, [
    h("div", { class: "headline" }, h("p", { class: "quiet" }, above),
      h("h1", {}, `What happened ${of === "hives" ? "to" : "at"} ${name}`)),
    h("fieldset", { class: "spans" }, h("legend", {}, "Show"), [...KINDS, [EVERYDAY, "Every day's flights"]].map(([what, label]) =>
      h("label", { "data-key": what }, h("input", {
        type: "checkbox", value: what, checked: state.what.has(what), onchange: (event) => choose(event, state, page),
      }), h("span", {}, label)))),
    h("section", { "aria-label": "Timeline" },
      events.length === 0 ? h("p", { class: "empty" }, "Nothing so far.")
        : h("ol", { class: "story" }, events.map((event) => entry(event, words, zone, now, page, of === "yards"))),
      events.some(({ what }) => what === "question") ? whoField() : null),
    h("p", { class: "buttons" },
      more ? h("button", { type: "button", class: "second", onclick: () => { state.wanted += SHOWN; page.again(); } }, "Earlier") : null,
      h("button", { type: "button", class: "second", onclick: () => window.print() }, "Print")),
  ]);
}

function choose(event, state, page) {
  const { value, checked } = event.currentTarget;
  if (checked) {
    state.what.add(value);
    if (value === EVERYDAY) state.what.add("finding");
  } else if ([...state.what].some((one) => one !== value && one !== EVERYDAY)) {
    state.what.delete(value);
    if (value === "finding") state.what.delete(EVERYDAY);
  } else event.currentTarget.checked = true; // nothing at all is no timeline
  state.wanted = SHOWN;
  page.again();
}

function entry(event, words, zone, now, page, isOfYard) {
  return h("li", { "data-key": `${event.what}-${event.id}-${event.at}` },
    h("time", { datetime: event.at }, when(event.at, zone, now)),
    h("span", { class: "quiet" }, NAMES.get(event.what)),
    h("div", {}, SAY[event.what](event[event.what], { words, zone, now, page, of: isOfYard ? hive : () => null })));
}

const hive = (name) => h("a", { href: `#/hive/${name}` }, name);

const SAY = {
  finding: (one, { words, zone, now, of }) => {
    const [what, name] = one.subject.split(":");
    const link = what === "hive" ? of(name) : null;
    return [h("p", {}, link ? [link, ": "] : null,
      h("strong", {}, head(one, words.get(one.kind))), `, ${[until(one, zone, now), `${status(one)}${sure(one)}`].filter(Boolean).join(", ")}`),
    one.evidence.length > 0 ? h("p", { class: "quiet small" }, `${one.evidence.join("; ")}.`) : null];
  },
  inspection: (one, { of }) => {
    const link = of(one.hive);
    const about = [link, link && one.by ? " " : null, one.by ? `${link ? "by" : "By"} ${one.by}` : null,
      became(one) ? [" (", h("strong", {}, became(one)), ")"] : null];
    return [h("p", { class: one.withdrawn ? "quiet" : null }, about, about.some(Boolean) ? ": " : null, sentences(one).join(" "))];
  },
  alert: (one) => [h("p", {}, one.title, h("span", { class: "quiet" }, ` ${one.state} (${one.reason})`))],
  question: (one, { page, of }) => {
    const link = of(one.hive);
    return [h("p", {}, link ? [link, ". "] : null, one.text), answers(one, page.again)];
  },
  device: (one) => [h("p", {}, `${one.text}.`)],
};
