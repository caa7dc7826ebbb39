// The yards and their hives: who wants a look first, and how everybody stands.

import { faults, get, kinds, list } from "./api.js";
import { fill, h } from "./dom.js";
import { inWords, localDay, roundNowAndThen, soonFor, thing } from "./due.js";
import { ago, change, clock, count, day, dayKey, figure, head, isEveryday, rank, SOON, span } from "./words.js";

const OLD_MS = 24 * 3600 * 1000; // own choice: an older figure says its age; silence is a finding
const TODAY = SOON.indexOf("today");

export function yardsPage() {
  const roundAt = roundNowAndThen();
  return { page: "yards", title: "Yards", load: () => load(roundAt), render };
}

async function load(roundAt) {
  const [yards, hives, unplaced, words, held, broken] = await Promise.all([
    list("yards"), list("hives"), list("devices", { unplaced: true }), kinds(), get("quarantine", { limit: 1 }), faults(),
  ]);
  return {
    now: hives.now, yards: yards.items, hives: hives.items, unplaced: unplaced.items, words, broken, isHeld: held.items.length > 0,
    zone: yards.items[0]?.timezone ?? "UTC", round: await roundAt(hives.now),
  };
}

function render(main, { now, yards, hives, unplaced, words, broken, isHeld, round }) {
  const due = new Map(round.visits.flatMap((visit) => visit.hives).map((hive) => [hive.hive, hive]));
  const urgent = new Map(hives.map((hive) => [hive.id, urgency(hive, words, now)]));
  fill(main, [
    h("h1", { class: "summary" }, summary(hives, urgent, round)),
    broken.length > 0 ? h("p", { class: "note" }, "Not everything works, and news may be missing: ", broken.join("; "), ".") : null,
    first(hives, yards, urgent, words, now),
    round.visits.length > 0 ? h("p", { class: "quiet" }, h("a", { href: "#/round" }, "The round"), `: ${inWords(round.visits)}`) : null,
    homeless(unplaced, hives, now),
    isHeld ? h("p", { class: "note" }, "Something that devices sent could not be used. ", h("a", { href: "#/quarantine" }, "See why")) : null,
    yards.length === 0 ? noYards()
      : inOrder(yards, hives, urgent, round).map((yard) => section(yard, hives, { urgent, due, words, now }, yards[0].timezone)),
  ]);
}

/** The yards: those with hives for now or for today first, then as in the round. */
function inOrder(yards, hives, urgent, round) {
  const places = new Map(round.visits.map((visit, i) => [visit.yard, i]));
  const place = ({ id }) => places.get(id) ?? places.size;
  const soon = new Map(yards.map((yard) => [yard.id, 0]));
  const pressing = hives.filter((hive) => urgent.get(hive.id).rank >= TODAY);
  for (const hive of pressing) soon.set(hive.yard, Math.max(soon.get(hive.yard), urgent.get(hive.id).rank));
  return [...yards].sort((a, b) => soon.get(b.id) - soon.get(a.id) || place(a) - place(b) || a.name.localeCompare(b.name, "en"));
}

/** The most pressing finding of a hive and how pressing it is. */
function urgency(hive, words, now) {
  const ranked = hive.findings
    .map((finding) => ({ finding, rank: rank(finding, words.get(finding.kind), now) }))
    .sort((a, b) => b.rank - a.rank || b.finding.start.localeCompare(a.finding.start));
  return ranked[0] ?? { finding: null, rank: 0 };
}

function summary(hives, urgent, round) {
  if (hives.length === 0) return "No hives yet.";
  const wanting = hives.filter((hive) => urgent.get(hive.id).rank > 0).length;
  if (wanting === 0 && round.visits.length > 0) return "No hive is in trouble.";
  if (wanting === 0) return hives.length === 1 ? "The hive is quiet." : `All ${hives.length} hives are quiet.`;
  return `${wanting} of ${count(hives.length, "hive")} ${wanting === 1 ? "wants" : "want"} a look.`;
}

function first(hives, yards, urgent, words, now) {
  const pressing = hives.filter((hive) => urgent.get(hive.id).rank > 0)
    .sort((a, b) => urgent.get(b.id).rank - urgent.get(a.id).rank).slice(0, 3);
  if (pressing.length === 0) return null;
  const zone = new Map(yards.map((yard) => [yard.id, yard.timezone]));
  return h("ol", { class: "first", "aria-label": "Look here first" }, pressing.map((hive) => {
    const { finding, rank: soon } = urgent.get(hive.id);
    return h("li", {},
      h("a", { href: `#/hive/${hive.id}` }, hive.id), " ",
      `${head(finding, words.get(finding.kind))}, ${span(finding, zone.get(hive.yard), now)}. `,
      h("span", { class: `soon soon-${soon}` }, SOON[soon]));
  }));
}

function homeless(unplaced, hives, now) {
  if (unplaced.length === 0) return null;
  const names = unplaced.slice(0, 5).map((device) => device.id).join(", ");
  const more = unplaced.length > 5 ? ` and ${unplaced.length - 5} more` : "";
  const heard = unplaced.map((device) => device.heard_at).filter(Boolean).sort().at(-1);
  return h("p", { class: "note" },
    h("strong", {}, `${count(unplaced.length, "device")} without a hive: `), `${names}${more}`,
    heard ? `, last heard ${ago(heard, now)}. ` : ". ",
    unplaced.length === 1 ? "What it sends is kept and falls to the hive once it is placed: give it a "
      : "What they send is kept and falls to the hive once they are placed: give each a ",
    h("code", {}, "[[device]]"), " entry in the apiary file and load it with ",
    h("code", {}, "hivewatch apiary load FILE"), ".");
}

function noYards() {
  return h("section", { class: "empty" },
    h("h2", {}, "Where to begin"),
    h("p", {}, "Nobody has told hivewatch of a yard. Write an apiary file with your yards, hives ",
      "and devices, and load it:"),
    h("pre", {}, h("code", {}, "hivewatch apiary load apiary.toml")),
    h("p", {}, "To see what it looks like with bees in it, run ", h("code", {}, "hivewatch demo"), "."));
}

/** A yard; `zone` is that of the clock above, and another one is said here. */
function section(yard, hives, known, zone) {
  const { urgent, words, now } = known;
  const here = hives.filter((hive) => hive.yard === yard.id).sort((a, b) =>
    urgent.get(b.id).rank - urgent.get(a.id).rank ||
    a.id.localeCompare(b.id, "en", { numeric: true }));
  const id = `yard-${yard.id}`;
  return h("section", { class: "yard", "aria-labelledby": id, "data-key": yard.id },
    h("header", {}, h("h2", { id }, yard.name),
      h("p", { class: "quiet" }, `${count(here.length, "hive")}. `,
        yard.timezone === zone ? "" : `It is ${day(now, yard.timezone)}, ${clock(now, yard.timezone)} there. `, h("a", { href: `#/yard/${yard.id}` }, "What happened"))),
    yard.findings.length === 0 ? null : h("p", { class: "whole" }, yard.findings.map((finding, i) => [
      i > 0 ? "; " : "", h("strong", {}, head(finding, words.get(finding.kind))),
      ` ${span(finding, yard.timezone, now)}`])),
    here.length === 0
      ? h("p", { class: "empty" }, "No hives stand here yet. Add them to the apiary file.")
      : table(yard, here, known));
}

const NOTHING = "nothing";
const WANTED = { super: "a super", count: "count again", "failed if no eggs": "eggs, or no queen", "free the queen": "let the queen out" };
const COLUMNS = ["Hive", "Weight", "24 h", "7 days", "Nest", "Last heard", "What there is to say", "To do and take"];

function table(yard, hives, known) {
  return h("table", { role: "table", class: "hives" },
    h("caption", { class: "unseen" }, `Hives at ${yard.name}, the most pressing first`),
    h("thead", { role: "rowgroup" }, h("tr", { role: "row" }, COLUMNS.map((name, i) =>
      h("th", { role: "columnheader", scope: "col", class: i > 0 && i < 5 ? "number" : null }, name)))),
    h("tbody", { role: "rowgroup" }, hives.map((hive) => row(hive, yard, known))));
}

function row(hive, yard, { urgent, due, words, now }) {
  const { rank: soon } = urgent.get(hive.id);
  const cell = (label, kind, ...content) =>
    h("td", { role: "cell", "data-label": label, class: kind }, ...content);
  return h("tr", { role: "row", class: `soon-${soon}`, "data-key": hive.id },
    h("th", { role: "rowheader", scope: "row" }, h("a", { href: `#/hive/${hive.id}` }, hive.id)),
    cell("Weight", "number", figure(hive.weight_kg, "kg"), old(hive.weight_at, now)),
    cell("24 h", "number", change(hive.change_day_kg, "kg")),
    cell("7 days", "number", change(hive.change_week_kg, "kg")),
    cell("Nest", "number", figure(hive.nest_c, "°C"), old(hive.nest_at, now)),
    cell("Last heard", "heard", heard(hive, now)),
    cell("To say", "says", says(hive, yard, words, now)),
    cell("To do and take", "says due", toDo(due.get(hive.id), dayKey(now, yard.timezone))));
}

/** What the round has of a hive besides what was found, in a few words, and what to take to it. */
function toDo(visit, today) {
  const wants = (visit?.reasons ?? []).filter((reason) => reason.source !== "finding");
  if (!visit || wants.length + visit.take.length === 0) return h("span", { class: "quiet nothing" }, NOTHING);
  const taken = wants.some(({ about }) => about === "super") ? visit.take.filter(({ what }) => what !== "super") : visit.take;
  return h("ul", {}, wants.map((reason) => h("li", { "data-key": reason.about }, WANTED[reason.about] ?? reason.about,
    reason.by ? ` by ${localDay(reason.by)} ` : " ", reason.urgency === "deadline" ? soonFor(reason, today) : null)),
  taken.length > 0 ? h("li", { class: "quiet", "data-key": "take" }, `take ${taken.map(thing).join(", ")}`) : null);
}

function old(time, now) {
  const isOld = time !== null && new Date(now) - new Date(time) > OLD_MS;
  return isOld ? h("small", { class: "old" }, ago(time, now)) : null;
}

function heard(hive, now) {
  if (hive.devices.length === 0) return h("span", { class: "quiet" }, "no device");
  if (hive.heard_at === null) return h("span", { class: "quiet" }, "not yet");
  return h("time", { datetime: hive.heard_at }, ago(hive.heard_at, now));
}

function says(hive, yard, words, now) {
  const news = hive.findings.filter((finding) => !isEveryday(finding));
  if (hive.given_away_at) return h("span", { class: "quiet" }, `given away or sold, ${day(hive.given_away_at, yard.timezone)}`);
  if (news.length === 0) {
    return hive.weight_at || hive.nest_at
      ? h("span", { class: "quiet nothing" }, "nothing to report") : h("span", { class: "quiet" }, "no readings yet");
  }
  const ranked = news.sort((a, b) =>
    rank(b, words.get(b.kind), now) - rank(a, words.get(a.kind), now) || b.start.localeCompare(a.start));
  const more = ranked.length - 3;
  return h("ul", {}, ranked.slice(0, 3).map((finding) => {
    const soon = rank(finding, words.get(finding.kind), now);
    return h("li", { "data-key": finding.id }, h("strong", {}, head(finding, words.get(finding.kind))),
      ` ${span(finding, yard.timezone, now)} `,
      soon > 0 ? h("span", { class: `soon soon-${soon}` }, SOON[soon]) : null);
  }), more > 0 ? h("li", { class: "quiet" }, `and ${more} more`) : null);
}
