// The round: which yards to visit, why, and what to take; on paper as on the phone.

import { answers } from "./answers.js";
import { get, list } from "./api.js";
import { fill, h } from "./dom.js";
import { closed, inWords, isOverdue, localDay, roundNowAndThen, soon, soonFor, thing } from "./due.js";
import { clock, count, day, dayKey, zoneName } from "./words.js";
import { whoField } from "./who.js";

const ASKED_DAYS = 14; // own choice: what was done longer ago, nobody remembers
const ASKED_YARDS = 20; // own choice: one request a yard, when the page is opened
const ASKED = 10;
const DAY_MS = 86400000;

export function roundPage() {
  const state = { questions: null, link: null, roundAt: roundNowAndThen() };
  const page = { page: "round", title: "Round", load: () => load(state),
    render: (main, data) => render(main, data, state, page) };
  return page;
}

async function load(state) {
  const [yards, { now }] = await Promise.all([list("yards"), get("now")]);
  const round = await state.roundAt(now);
  state.questions ??= await questionsOf(yards.items.slice(0, ASKED_YARDS), now);
  return { round, now, zone: yards.items[0]?.timezone ?? "UTC" };
}

async function questionsOf(yards, now) {
  const pages = await Promise.all(yards.map((yard) =>
    get(`yards/${yard.id}/timeline`, { what: "question", limit: ASKED })));
  return pages.flatMap((page) => page.items.map((event) => event.question))
    .filter((one) => new Date(now) - new Date(one.at) < ASKED_DAYS * DAY_MS)
    .sort((a, b) => b.at.localeCompare(a.at)).slice(0, ASKED);
}

function render(main, { round, now, zone }, state, page) {
  const { visits, quiet } = round;
  fill(main, [
    h("div", { class: "headline" },
      h("h1", { class: "summary" }, summary(visits, quiet)),
      h("p", { class: "quiet" }, `As of ${day(now, zone)}, ${clock(now, zone)} ${zoneName(now, zone)}. `,
        visits.length < 2 ? null : "Yards stand in this order: emergencies, dates due soon, what is for today, what is for the next visit, the oldest count.")),
    visits.length + quiet.length > 0 ? h("p", { class: "buttons" },
      h("button", { type: "button", class: "second", onclick: () => window.print() }, "Print"),
      h("button", { type: "button", class: "second", onclick: () => showLink(state, page) }, "Calendar for a phone")) : null,
    state.link ? h("p", { class: "note" }, "Subscribe to this address; whoever has it can read it: ",
      h("a", { class: "address", href: state.link }, state.link)) : null,
    visits.map((visit, i) => yard(visit, i + 1, visits[i + 1], dayKey(now, zone))),
    state.questions.length > 0 ? h("section", { class: "asked", "aria-labelledby": "asked", "data-key": "asked" },
      h("h2", { id: "asked" }, "What only you know"),
      h("ul", { class: "plain" }, state.questions.map((one) => question(one, page))), whoField()) : null,
    quiet.length > 0 ? h("section", { "aria-labelledby": "quiet-yards", "data-key": "quiet" },
      h("h2", { id: "quiet-yards" }, "Nothing to do there"),
      h("ul", { class: "plain" }, quiet.map((one) => h("li", { "data-key": one.yard },
        h("a", { href: `#/yard/${one.yard}` }, one.name), ` ${count(one.hives, "hive")}. ${one.words}`)))) : null,
  ]);
}

function summary(visits, quiet) {
  if (visits.length === 0) return quiet.length === 0 ? "No yards yet." : "No yard needs a visit.";
  return inWords(visits);
}

function yard(visit, number, next, today) {
  const id = `round-${visit.yard}`;
  return h("section", { class: "yard", "aria-labelledby": id, "data-key": visit.yard },
    h("header", {}, h("h2", { id }, `${number}. ${visit.name}`), h("p", {}, soon(visit.urgency, visit.when))),
    visit.reasons.length > 0 ? reasons(visit.reasons, "whole", today) : null,
    h("ul", { class: "visits" }, visit.hives.map((hive) => one(hive, today))),
    visit.quiet.length > 0 ? h("p", { class: "quiet small" }, `Quiet: ${visit.quiet.join(", ")}.`) : null,
    h("p", { class: "small past" }, h("a", { href: `#/yard/${visit.yard}` }, "What happened here")),
    h("dl", { class: "advice" },
      h("dt", {}, "Take"), h("dd", {}, h("ul", { class: "take" }, visit.take.map((item) =>
        h("li", {}, h("span", { class: "box", "aria-hidden": "true" }), thing(item))))),
      h("dt", {}, "Mind"), h("dd", {}, h("ul", { class: "plain" }, visit.mind.map((text) => h("li", {}, text)))),
      visit.above_the_next ? [h("dt", {}, "Why here"),
        h("dd", { class: "quiet" }, `Before ${next?.name ?? "the next"}: ${visit.above_the_next}.`)] : null));
}

function one(hive, today) {
  return h("li", { "data-key": hive.hive },
    h("h3", {}, h("a", { href: `#/hive/${hive.hive}` }, hive.hive)),
    hive.closed_until ? h("p", { class: "closed" }, closed(hive)) : null,
    reasons(hive.reasons, "because", today));
}

function reasons(list_, kind, today) {
  return h("ul", { class: `plain ${kind}` }, list_.map((reason) => h("li", {},
    h("strong", {}, reason.words), " ", soonFor(reason, today),
    h("span", { class: "quiet" }, ` ${reason.by ? `${isOverdue(reason, today) ? "since" : "by"} ${localDay(reason.by)}; ` : ""}${reason.why}.`),
    reason.do ? h("p", { class: "do" }, reason.do) : null)));
}

function question(asked, page) {
  return h("li", { "data-key": asked.id },
    h("p", {}, h("a", { href: `#/hive/${asked.hive}` }, asked.hive), `. ${asked.text}`), answers(asked, page.again));
}

async function showLink(state, page) {
  state.link = new URL((await get("calendar")).path, location.href).href;
  page.again();
}
