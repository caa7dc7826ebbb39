// The alerts: what was sent or not, and every decision with its reason.

import { get, kinds, list, post } from "./api.js";
import { fill, h } from "./dom.js";
import { readRing, ringPart } from "./ring.js";
import { count, rank, when } from "./words.js";
import { by } from "./who.js";

const STATES = {
  held: "Held for now", waiting: "About to be sent", folded: "Told within another message",
  sent: "Sent", failed: "Could not be sent", dropped: "Not sent",
};
const LOOK = {
  emergency: "Wants a look now", today: "Wants a look today", "next visit": "For the next visit",
};
const ASKING = new Set(["held", "waiting", "sent", "failed"]);
const DAY_MS = 86400000;
const SHOWN = 100;
const LATE = "Late news: "; // as the message begins; here it stands beside the title

export function alertsPage() {
  const opened = new Set(); // alerts whose story the reader has opened
  const state = { pages: 1 };
  const page = { page: "alerts", title: "Alerts", load: () => load(opened, state.pages),
    render: (main, data) => render(main, data, { page, opened, state }) };
  return page;
}

async function load(opened, pages) {
  const [alerts, yards, words, ring, ...stories] = await Promise.all([
    newest(pages), list("yards"), kinds(), readRing(), ...[...opened].map((id) => get(`alerts/${id}`)),
  ]);
  return {
    now: alerts.now, alerts: alerts.items, more: alerts.more, words, ring,
    zones: new Map(yards.items.map((yard) => [yard.id, yard.timezone])),
    zone: yards.items[0]?.timezone ?? "UTC", stories: new Map(stories.map((story) => [story.id, story])),
  };
}

async function newest(pages) {
  const items = [];
  let page = { next: null };
  for (let n = 0; n < pages && (n === 0 || page.next); n += 1) {
    page = await get("alerts", { limit: SHOWN, after: page.next });
    items.push(...page.items);
  }
  return { items, now: page.now, more: page.next !== null };
}

/** One alert alone, as it is opened from the message on a phone. */
export function alertPage(id) {
  const opened = new Set([id]);
  const page = { page: "alerts", title: "Alert", load: () => loadOne(id),
    render: (main, data) => renderOne(main, data, { page, opened }) };
  return page;
}

async function loadOne(id) {
  const [story, yards, words, { now }] = await Promise.all([get(`alerts/${id}`), list("yards"), kinds(), get("now")]);
  return { story, words, now, zone: (yards.items.find((yard) => yard.id === story.yard) ?? yards.items[0])?.timezone ?? "UTC" };
}

function renderOne(main, { story, words, now, zone }, view) {
  const asks = isAsking(story, words, now);
  fill(main, [
    h("p", { class: "quiet" }, h("a", { href: "#/alerts" }, "Alerts"), " / one alert"),
    h("h1", { class: "summary" }, asks ? "This alert waits for an answer." : "This alert waits for no answer."),
    h("ol", { class: "findings" }, item(story, zone, now, story, asks, view)),
  ]);
}

/** Whether an answer is still of use: what is over, and leaves nothing to do, waits for none. */
function isAsking(alert, words, now) {
  const finding = { status: alert.finding_status ?? "open", end: alert.finding_end_at };
  return alert.acknowledged_at === null && ASKING.has(alert.state) && rank(finding, words.get(alert.kind), now) > 0;
}

function render(main, { alerts, more, zones, zone, now, stories, words, ring }, view) {
  const asking = alerts.filter((alert) => isAsking(alert, words, now));
  const waiting = asking.length;
  fill(main, [
    h("h1", { class: "summary" }, alerts.length === 0 ? "No alerts so far."
      : waiting === 0 ? "Nothing waits for an answer." : `${count(waiting, "alert")} not acknowledged yet.`),
    h("p", { class: "quiet" }, "What rang, what did not, and why."),
    ringPart(ring, zone, now, view.page),
    waiting > 1 ? h("p", { class: "buttons", "data-key": "all" }, h("button", { type: "button", class: "second",
      onclick: act(view.page, async () => { for (const { id } of asking) await post(`alerts/${id}/acknowledge`, signed()); }) },
    `Acknowledge all ${waiting}`)) : null,
    h("ol", { class: "findings" }, alerts.map((alert) =>
      item(alert, zones.get(alert.yard) ?? zone, now, stories.get(alert.id), isAsking(alert, words, now), view))),
    more ? h("p", { class: "buttons" }, h("button", { type: "button", class: "second",
      onclick: () => { view.state.pages += 1; view.page.again(); } }, "Earlier")) : null,
  ]);
}

/** What it is now: how soon it wants a look, or that it is over and wants none. */
function became(alert, isAsked, zone, now) {
  if (alert.finding_status === "withdrawn") return "Taken back since";
  if (alert.finding_status === "explained") return "Explained by an inspection";
  if (!isAsked && alert.finding_status === "ended" && alert.finding_end_at) return `Over since ${when(alert.finding_end_at, zone, now)}`;
  return LOOK[alert.urgency] ?? alert.urgency;
}

function item(alert, zone, now, story, isAsked, { page, opened }) {
  const isLate = alert.title.startsWith(LATE);
  const title = isLate ? alert.title.slice(LATE.length) : alert.title;
  const address = alert.hive ? `#/hive/${alert.hive}` : alert.yard ? `#/yard/${alert.yard}` : null;
  const isKnown = alert.acknowledged_at !== null;
  const isSilent = alert.snoozed_until && new Date(alert.snoozed_until) > new Date(now);
  const toggle = (event) => {
    if (event.currentTarget.open === opened.has(alert.id)) return;
    if (event.currentTarget.open) opened.add(alert.id);
    else opened.delete(alert.id);
    page.again();
  };
  return h("li", { "data-key": `${alert.id}-${isKnown}`, class: isAsked ? "" : "gone" },
    h("div", {},
      h("h2", { class: "title" }, address ? h("a", { href: address }, title) : title,
        isLate ? [" ", h("span", { class: "soon soon-0" }, "late news")] : null),
      h("p", {}, `${when(alert.created_at, zone, now)}. ${became(alert, isAsked, zone, now)}. `,
        h("strong", {}, STATES[alert.state] ?? alert.state), alert.reason === alert.state ? "." : ` (${alert.reason}).`),
      isKnown ? h("p", { class: "quiet" }, `Acknowledged by ${alert.acknowledged_by}, ${when(alert.acknowledged_at, zone, now)}`) : null,
      isSilent ? h("p", { class: "quiet" }, `Silent until ${when(alert.snoozed_until, zone, now)}`) : null,
      h("details", { ontoggle: toggle, open: opened.has(alert.id) }, h("summary", {}, "The message, and every decision"),
        h("p", { class: "message" }, alert.body), story ? decisions(story, zone, now) : null),
      isKnown || !(isAsked || (alert.state === "dropped" && alert.finding_status === "open")) ? null : h("p", { class: "buttons" },
        h("button", { type: "button", onclick: act(page, () => post(`alerts/${alert.id}/acknowledge`, signed())) },
          "Acknowledge", h("span", { class: "unseen" }, `: ${title}`)),
        h("button", {
          type: "button", class: "second",
          onclick: act(page, async () => post(`alerts/${alert.id}/snooze`, { until: later((await get("now")).now), ...signed() })),
        }, "Silence for a day", h("span", { class: "unseen" }, `: ${title}`)))));
}

function decisions(story, zone, now) {
  return [
    h("ol", { class: "decisions" }, story.decisions.map((one) => h("li", {},
      h("time", { datetime: one.at }, when(one.at, zone, now)), ` ${one.what}`,
      one.channel ? ` on ${one.channel}` : "", `: ${one.why}`))),
    story.deliveries.length === 0 ? null : h("p", { class: "quiet" }, story.deliveries.map((one) =>
      `${one.channel}: ${one.state} after ${count(one.attempts, "try", "tries")}`).join("; ")),
  ];
}

const signed = () => (by() === null ? {} : { by: by() });

const later = (now) => new Date(new Date(now).getTime() + DAY_MS).toISOString().replace(/\.\d+/, "");

function act(page, change) {
  return async (event) => {
    const button = event.currentTarget;
    button.disabled = true;
    try {
      await change();
    } catch (error) {
      (button.closest("li") ?? button.parentElement).append(h("p", { role: "alert" }, error.message));
    }
    button.disabled = false;
    page.again();
  };
}
