// One hive: how it stands, what it did, what was found and what people saw.

import { answers } from "./answers.js";
import { get, kinds, list } from "./api.js";
import { Chart } from "./chart.js";
import { fill, h } from "./dom.js";
import { closed, roundNowAndThen, soonFor } from "./due.js";
import { canLookAhead, outlookPart } from "./outlook.js";
import { inspectionList } from "./seen.js";
import { VisitForm } from "./visit.js";
import { whoField } from "./who.js";
import {
  ago, change, count, day, dayKey, figure, head, isEveryday, measures, rank, SOON, span, status, sure, when, zoneName,
} from "./words.js";

const SPANS = [["3", "3 days"], ["7", "7 days"], ["30", "30 days"], ["all", "all"]];
const DAY_MS = 86400000;
const LISTED = 40;
const FULL_MS = 7 * DAY_MS; // own choice: what was over before then stands on one line, to be opened
const ASKED = 3;
const PAGE = 200;
const WHAT = ["finding", "inspection", "question"];
const AROUND_MS = [DAY_MS, 60 * DAY_MS]; // own choice: a day on either side at least, two months at most
const letters = (i) => (i < 26 ? "" : letters(Math.floor(i / 26) - 1)) + String.fromCharCode(65 + (i % 26));

export function hivePage(id) {
  const state = { days: "7", around: null, pages: 1, charts: null, roundAt: roundNowAndThen() };
  const page = {
    page: "yards", title: id,
    load: () => load(id, state),
    render: (main, data) => { state.here = data; render(main, data, state, page); },
    close: () => state.charts?.forEach(({ chart }) => chart.close()),
  };
  return page;
}

const CHARTS = [
  { title: "Weight", quantities: ["weight"], lines: [
    { name: "Weight", colour: "--line-1", unit: "kg", digits: 1 }] },
  { title: "Warmth", quantities: ["nest", "ambient"], lines: [
    { name: "Nest", colour: "--line-2", unit: "°C", digits: 1 },
    { name: "Outside", colour: "--line-3", unit: "°C", digits: 1, dash: true }] },
  { title: "Traffic", quantities: ["bees-out", "bees-in"], lines: [
    { name: "Out", colour: "--line-1", unit: "bees an hour", digits: 0, isCount: true },
    { name: "In", colour: "--line-2", unit: "bees an hour", digits: 0, isCount: true, dash: true }] },
];

async function load(id, { days, around, pages, roundAt }) {
  const [hive, yards, words, events, { now }, devices] = await Promise.all([
    get(`hives/${id}`), list("yards"), kinds(), history(id, pages), get("now"), list("devices"),
  ]);
  const zone = yards.items.find((yard) => yard.id === hive.yard)?.timezone ?? "UTC";
  const yard = yards.items.find((one) => one.id === hive.yard);
  const from = days === "all"
    ? Math.min(new Date(hive.since ?? now), new Date(now) - DAY_MS)
    : new Date(now) - Number(days) * DAY_MS;
  const [first, last] = around ?? [from, new Date(now).getTime() + 1000];
  const asked = { from: new Date(first).toISOString(), to: new Date(last).toISOString() };
  const readings = new Map(await Promise.all(CHARTS.flatMap((chart) => chart.quantities.map((quantity) => [quantity, chart]))
    .map(async ([quantity, chart]) => [quantity, await get(`hives/${id}/readings`, { quantity, ...asked, step: stepOf(chart, last - first) })])));
  const isGone = hive.given_away_at !== null || events.items.some(({ finding }) => finding?.kind === "taken" && finding.status === "open");
  const [outlook, round] = await Promise.all([
    !isGone && canLookAhead(events.items, now) ? get(`hives/${id}/outlook`) : null, roundAt(now)]);
  return {
    now, hive, yard, zone, words, events: events.items, more: events.more, readings, outlook, isGone,
    visit: round.visits.flatMap((one) => one.hives).find((one) => one.hive === id),
    devices: devices.items.filter((device) => device.hive === id), from: first / 1000,
    to: around ? last / 1000 : new Date(now) / 1000,
  };
}

/** Counts by the hour at least: by less than two readings each, steps would only show how readings fall on them. */
const stepOf = (chart, ms) => (chart.lines[0].isCount && ms < 32 * DAY_MS ? "1h" : null);

/** The newest pages of what happened to a hive. */
async function history(id, pages) {
  const items = [];
  let next = null;
  for (let n = 0; n < pages && (n === 0 || next); n += 1) {
    const page = await get(`hives/${id}/timeline`, { what: WHAT, limit: PAGE, after: next });
    items.push(...page.items);
    ({ next } = page);
  }
  return { items, more: next !== null };
}

function render(main, data, state, page) {
  state.charts ??= build(main, state, page, data.hive.id);
  const { hive, yard, now, zone, words, events, readings } = data;
  const found = events.filter((event) => event.what === "finding").map((event) => event.finding);
  const seen = events.filter((event) => event.what === "inspection");
  const numbers = new Map([...found].filter((one) => !isEveryday(one)).reverse().map((finding, i) => [finding.id, String(i + 1)]));
  const names = new Map([...seen].reverse().map((event, i) => [event.id, letters(i)]));
  const part = (name) => main.querySelector(`[data-part="${name}"]`);
  fill(part("head"), [
    h("p", { class: "quiet" }, h("a", { href: "#/" }, "Yards"), ` / ${yard?.name ?? hive.yard}`),
    h("h1", {}, hive.id),
    h("p", { class: "quiet" }, `${hive.frame.replaceAll("-", " ")}, ${count(hive.boxes, "brood box", "brood boxes")} of ${hive.frames} frames`),
  ]);
  const given = hive.given_away_at && `Given away or sold, ${when(hive.given_away_at, zone, now)}.`;
  fill(part("now"), given ? [h("p", { class: "note" }, given, " Nothing is asked of it until a visit is written down again.")]
    : pressing(found, words, zone, now, data.visit));
  fill(part("figures"), figures(hive, now));
  fill(part("marks"), ["Numbers mark what was found, letters what people saw; both are listed below. ",
    `Times are those of the yard, ${zoneName(now, zone)}.`]);
  const marks = [
    ...found.filter((one) => one.status !== "withdrawn" && !isEveryday(one)).map((one) => ({
      at: new Date(one.start) / 1000, end: one.end && new Date(one.end) / 1000, label: numbers.get(one.id),
      isPoint: one.subject.startsWith("device:") })),
    ...seen.filter((one) => !one.inspection.withdrawn).map((one) => ({ at: new Date(one.at) / 1000, end: new Date(one.at) / 1000, label: names.get(one.id), isSeen: true })),
  ].sort((a, b) => a.at - b.at);
  for (const { chart, quantities } of state.charts) {
    chart.update({
      series: quantities.map((name) => readings.get(name).items), zone, marks, now,
      stepS: seconds(readings.get(quantities[0]).step), from: data.from, to: data.to, isWhole: state.around !== null,
    });
  }
  fill(part("outlook"), data.isGone ? [h("p", { class: "quiet" }, given || "The hive is gone from its scale.")] : outlookPart(data.outlook, seen, now, zone));
  for (const choice of main.querySelectorAll(".spans input")) choice.checked = !state.around && choice.value === state.days;
  const listed = LISTED * state.pages;
  const show = (finding) => showAround(finding, main, state, page, now);
  fill(part("findings"), findingList(found, numbers, { words, zone, now, listed, show }));
  fill(part("inspections"), inspectionList(seen, names, { zone, now, listed, form: state.form }));
  const hasMore = data.more || Math.max(numbers.size, seen.length) > listed;
  fill(part("more"), [
    hasMore ? h("button", { "data-key": "more", type: "button", class: "second", onclick: () => { state.pages += 1; page.again(); } }, "Earlier") : null,
    h("a", { "data-key": "story", href: `#/hive/${hive.id}/timeline` }, "All that happened, by kind"),
    h("button", { "data-key": "print", type: "button", class: "second", onclick: () => window.print() }, "Print")]);
  fill(part("asked"), questionList(events, page));
  fill(part("devices"), deviceList(data.devices, zone, now));
}

/** Show the days of a finding on the curves. */
function showAround(finding, main, state, page, now) {
  const start = new Date(finding.start).getTime();
  const end = Math.min(finding.end ? new Date(finding.end).getTime() : new Date(now).getTime(), start + AROUND_MS[1]);
  const air = Math.max(AROUND_MS[0], (end - start) / 4);
  state.around = [start - air, Math.min(end + air, new Date(now).getTime() + 1000)];
  page.again();
  const curves = main.querySelector("#did");
  curves.scrollIntoView({ block: "start" });
  curves.focus({ preventScroll: true });
}

const seconds = (step) => Number.parseInt(step, 10) * { m: 60, h: 3600, d: 86400 }[step.at(-1)];

/** Lay the page out once; later renders only fill its parts. */
function build(main, state, page, id) {
  const charts = CHARTS.map(({ title, lines, quantities }) => ({ chart: new Chart(title, lines), quantities }));
  state.form = new VisitForm(id, () => state.here, page);
  const choice = h("fieldset", { class: "spans" }, h("legend", {}, "Show"), SPANS.map(([value, words]) =>
    h("label", {}, h("input", {
      type: "radio", name: "span", value, checked: value === state.days,
      onchange: () => { state.days = value; state.around = null; page.again(); },
    }), h("span", {}, words))));
  main.replaceChildren(
    h("div", { "data-part": "head", class: "headline" }), h("div", { "data-part": "now" }),
    h("dl", { "data-part": "figures", class: "figures" }),
    h("div", { "data-part": "asked" }),
    h("section", { "aria-labelledby": "ahead" }, h("h2", { id: "ahead" }, "Three weeks back, three weeks ahead"),
      h("div", { "data-part": "outlook" })),
    h("section", { "aria-labelledby": "did" },
      h("header", {}, h("h2", { id: "did", tabindex: "-1" }, "What it did"), choice),
      h("p", { "data-part": "marks", class: "quiet small" }),
      h("div", { class: "charts" }, charts.map(({ chart }) => chart.figure))),
    h("section", { "aria-labelledby": "found" }, h("h2", { id: "found" }, "What was found"), h("div", { "data-part": "findings" })),
    h("section", { "aria-labelledby": "seen" }, h("h2", { id: "seen" }, "What people saw"),
      state.form.element, h("div", { "data-part": "inspections" })),
    h("p", { "data-part": "more", class: "buttons" }),
    h("section", { "aria-labelledby": "devices" }, h("h2", { id: "devices" }, "Devices here"), h("div", { "data-part": "devices" })),
  );
  return charts;
}

function figures(hive, now) {
  const one = (name, value, note = null) => h("div", {}, h("dt", {}, name), h("dd", {}, value, note && h("small", {}, note)));
  return [
    one("Weight", figure(hive.weight_kg, "kg"), hive.weight_at && ago(hive.weight_at, now)),
    one("In 24 h", change(hive.change_day_kg, "kg")),
    one("In 7 days", change(hive.change_week_kg, "kg")),
    one("Nest", figure(hive.nest_c, "°C"), hive.nest_at && ago(hive.nest_at, now)),
    one("Last heard", hive.heard_at ? ago(hive.heard_at, now) : "not yet"),
  ];
}

/** What wants a look, the most pressing first, and what to do: before all figures. */
function pressing(found, words, zone, now, visit) {
  const wanting = found.map((one) => ({ one, kind: words.get(one.kind), soon: rank(one, words.get(one.kind), now) }))
    .filter(({ soon }) => soon > 0).sort((a, b) => b.soon - a.soon);
  const dates = (visit?.reasons ?? []).filter(({ source }) => source === "outlook" || source === "queen date");
  if (wanting.length === 0 && dates.length === 0 && !visit?.closed_until) return [];
  return [h("ul", { class: "wanting", "aria-label": "Wants a look" }, wanting.map(({ one, kind, soon }) =>
    h("li", { "data-key": one.id, class: `edge-${soon}` },
      h("p", {}, h("strong", {}, head(one, kind)), ` ${span(one, zone, now)} `, h("span", { class: `soon soon-${soon}` }, SOON[soon])),
      kind?.do ? h("p", {}, kind.do) : null)),
  dates.map((one) => h("li", { "data-key": one.about, class: one.urgency === "deadline" ? "edge-2" : "edge-1" },
    h("p", {}, h("strong", {}, one.words), " ", soonFor(one, dayKey(now, zone))), h("p", { class: "quiet" }, `${one.why}.`))),
  visit?.closed_until ? h("li", { "data-key": "closed", class: "edge-1" },
    h("p", {}, closed(visit))) : null)];
}

function findingList(found, numbers, { words, zone, now, listed, show }) {
  if (found.length === 0) return [h("p", { class: "quiet" }, "Nothing so far.")];
  const news = found.filter((one) => !isEveryday(one));
  return [h("ol", { class: "findings" }, news.slice(0, listed).map((finding) => {
    const kind = words.get(finding.kind);
    const soon = rank(finding, kind, now);
    const isPast = finding.end !== null && new Date(now) - new Date(finding.end) > FULL_MS && soon === 0;
    const more = rests(finding, kind, soon, { number: numbers.get(finding.id), show });
    return h("li", { "data-key": finding.id, class: finding.status === "withdrawn" ? "gone" : `soon-${soon}` },
      h("span", { class: "mark" }, numbers.get(finding.id)),
      isPast ? h("div", {}, h("details", { class: "settled" },
        h("summary", {}, h("strong", {}, head(finding, kind)), ` ${span(finding, zone, now)}; ${status(finding)}`), more))
        : h("div", {},
          h("h3", {}, head(finding, kind), " ", soon > 0 ? h("span", { class: `soon soon-${soon}` }, SOON[soon]) : null),
          h("p", {}, `${span(finding, zone, now)}; ${status(finding)}${sure(finding)}`), more));
  })), news.length > listed ? h("p", { class: "quiet" }, `and ${news.length - listed} earlier`) : null,
  news.length === 0 ? h("p", { class: "quiet" }, "Nothing but what every hive does.") : null,
  everyday(found.filter(isEveryday), words, zone, now)];
}

/** What a finding rests on, and what to do about it. */
function rests(finding, kind, soon, { number: mark, show }) {
  const what = measures(finding);
  return [
    what.length > 0 ? h("p", { class: "measures" }, what.map(({ name, text }) => h("span", {}, name ? `${name}: ` : "", h("b", {}, text)))) : null,
    finding.evidence.length > 0 ? h("ul", { class: "evidence" }, finding.evidence.map((line) => h("li", {}, line))) : null,
    h("p", {}, h("button", { type: "button", class: "link", onclick: () => show(finding) },
      "Show on the curves", h("span", { class: "unseen" }, `: ${mark}`))),
    soon > 0 && kind ? advice(kind) : null,
  ];
}

/** What every hive does, folded; inside by the week. */
function everyday(found, words, zone, now) {
  if (found.length === 0) return [];
  const weeks = new Map();
  for (const one of found) weeks.set(weekOf(one.start, zone), [...(weeks.get(weekOf(one.start, zone)) ?? []), one]);
  const named = (week) => day(`${week}T12:00:00Z`, "UTC");
  return [h("details", { "data-key": "everyday", class: "everyday" },
    h("summary", {}, `${head(found[0], words.get(found[0].kind))}: ${count(found.length, "time")} since the week of ${named([...weeks.keys()].sort()[0])}`),
    h("ul", { class: "plain small" }, [...weeks].map(([week, ones]) => h("li", { "data-key": week },
      h("strong", {}, `Week of ${named(week)}, ${count(ones.length, "time")}: `),
      ones.map((one) => `${span(one, zone, now)}${one.status === "withdrawn" ? " (withdrawn)" : ""}`).join("; "), "."))))];
}

/** The Monday of a moment's week, by the yard's own days. */
function weekOf(time, zone) {
  const at = new Date(`${dayKey(time, zone)}T12:00:00Z`);
  at.setUTCDate(at.getUTCDate() - ((at.getUTCDay() + 6) % 7));
  return at.toISOString().slice(0, 10);
}

function advice(kind) {
  const one = (name, text) => (text ? [h("dt", {}, name), h("dd", {}, text)] : []);
  return h("details", {}, h("summary", {}, "What to do, take and mind"),
    h("dl", { class: "advice" }, one("Do", kind.do), one("Take", kind.take), one("Mind", kind.mind)));
}

function questionList(events, page) {
  const all = events.filter((event) => event.what === "question");
  if (all.length === 0) return [];
  const asked = all.slice(0, ASKED);
  return [h("section", { class: "asked", "aria-labelledby": "asked" }, h("h2", { id: "asked" }, "What only you know"),
    h("ul", { class: "plain" }, asked.map(({ question }) => h("li", { "data-key": question.id },
      h("p", {}, question.text), answers(question, page.again)))),
    all.length > ASKED ? h("p", {}, h("a", { href: `#/hive/${asked[0].question.hive}/timeline` }, `${all.length - ASKED} more`)) : null,
    whoField())];
}

function deviceList(devices, zone, now) {
  if (devices.length === 0) {
    return [h("p", { class: "quiet" }, "No device stands here. Give it a ", h("code", {}, "[[device]]"), " entry in the apiary file.")];
  }
  return [h("ul", { class: "plain" }, devices.map((device) => h("li", { "data-key": device.id },
    h("strong", {}, device.id), device.status ? ` ${device.status}` : "",
    device.heard_at ? `, last heard ${ago(device.heard_at, now)}` : ", not heard yet",
    device.since ? `, here since ${when(device.since, zone, now)}` : "")))];
}
