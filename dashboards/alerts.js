// The alerts: what was sent or not, and every decision with its reason.

import { list, kinds, post } from "./api.js";
import { fill, h } from "./dom.js";
import { count, when } from "./words.js";

const STATES = {
  held: "held for now", waiting: "about to be sent", folded: "told within another message",
  sent: "sent", failed: "could not be sent", dropped: "not sent",
};
const DAY_MS = 86400000;
const SHOWN = 100;

export function alertsPage() {
  const page = { page: "alerts", title: "Alerts", load, render: (main, data) => render(main, data, page) };
  return page;
}

async function load() {
  const [alerts, yards] = await Promise.all([list("alerts"), list("yards"), kinds()]);
  const zones = new Map(yards.items.map((yard) => [yard.id, yard.timezone]));
  return { now: alerts.now, alerts: alerts.items, zones, zone: yards.items[0]?.timezone ?? "UTC" };
}

function render(main, { alerts, zones, zone, now }, page) {
  const waiting = alerts.filter((alert) => alert.acknowledged_at === null && alert.state === "sent").length;
  fill(main, [
    h("h1", { class: "summary" }, alerts.length === 0 ? "No alerts so far."
      : waiting === 0 ? "Every alert is acknowledged." : `${count(waiting, "alert")} not acknowledged yet.`),
    h("p", { class: "quiet" }, "What was sent, what was not, and why: each keeps every decision about it."),
    h("ol", { class: "findings" }, alerts.slice(0, SHOWN).map((alert) =>
      item(alert, zones.get(alert.yard) ?? zone, now, page))),
    alerts.length > SHOWN ? h("p", { class: "quiet" }, `and ${alerts.length - SHOWN} earlier`) : null,
  ]);
}

function item(alert, zone, now, page) {
  const isDone = alert.acknowledged_at !== null;
  return h("li", { "data-key": `${alert.id}-${isDone}`, class: isDone || alert.state === "dropped" ? "gone" : "" },
    h("div", {},
      h("h2", { class: "title" }, alert.hive ? h("a", { href: `#/hive/${alert.hive}` }, alert.title) : alert.title),
      h("p", {}, `${when(alert.created_at, zone, now)}; ${alert.urgency}; `,
        h("strong", {}, STATES[alert.state] ?? alert.state), `, because: ${alert.decisions.at(-1)?.why ?? alert.reason}`),
      isDone ? h("p", { class: "quiet" }, `Acknowledged ${when(alert.acknowledged_at, zone, now)}`,
        alert.acknowledged_by ? ` by ${alert.acknowledged_by}` : "") : null,
      alert.snoozed_until && new Date(alert.snoozed_until) > new Date(now)
        ? h("p", { class: "quiet" }, `Silent until ${when(alert.snoozed_until, zone, now)}`) : null,
      h("details", {}, h("summary", {}, "The message, and every decision"),
        h("p", { class: "message" }, alert.body),
        h("ol", { class: "decisions" }, alert.decisions.map((one) => h("li", {},
          h("time", { datetime: one.at }, when(one.at, zone, now)), ` ${one.what}`,
          one.channel ? ` on ${one.channel}` : "", `: ${one.why}`)))),
      isDone ? null : h("p", { class: "buttons" },
        h("button", { type: "button", onclick: act(page, () => post(`alerts/${alert.id}/acknowledge`)) },
          "Acknowledge", h("span", { class: "unseen" }, `: ${alert.title}`)),
        h("button", {
          type: "button", class: "second",
          onclick: act(page, () => post(`alerts/${alert.id}/snooze`, { until: later(now) })),
        }, "Silence for a day", h("span", { class: "unseen" }, `: ${alert.title}`)))));
}

const later = (now) => new Date(new Date(now).getTime() + DAY_MS).toISOString().replace(/\.\d+/, "");

function act(page, change) {
  return async (event) => {
    const button = event.currentTarget;
    button.disabled = true;
    try {
      await change();
    } catch (error) {
      button.closest("li").append(h("p", { role: "alert" }, error.message));
    }
    button.disabled = false;
    page.again();
  };
}
