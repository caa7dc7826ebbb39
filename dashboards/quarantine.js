// What devices sent and could not be used: why, and a second try after a fix.

import { get, list, post } from "./api.js";
import { fill, h } from "./dom.js";
import { count, number, when } from "./words.js";

const SHOWN = 50;
const HOUR_S = 3600;

export function quarantinePage() {
  const state = { pages: 1, said: new Map() };
  const page = { page: "yards", title: "Not used", load: () => load(state),
    render: (main, data) => render(main, data, state, page) };
  return page;
}

async function load({ pages }) {
  const yards = await list("yards");
  const items = [];
  let page = { next: null };
  for (let n = 0; n < pages && (n === 0 || page.next); n += 1) {
    page = await get("quarantine", { limit: SHOWN, after: page.next });
    items.push(...page.items);
  }
  return { items, more: page.next !== null, now: page.now, zone: yards.items[0]?.timezone ?? "UTC" };
}

function render(main, { items, more, now, zone }, state, page) {
  fill(main, [
    h("div", { class: "headline" }, h("p", { class: "quiet" }, h("a", { href: "#/" }, "Yards"), " / Not used"),
      h("h1", {}, items.length === 0 ? "Everything that came could be used."
        : `${count(items.length, "message")}${more ? " or more" : ""} could not be used, or not wholly.`)),
    items.length > 0 ? h("p", { class: "quiet" }, "Nothing is lost: each is kept as it came. Put right what is wrong, then try it again.") : null,
    h("ol", { class: "findings" }, items.map((one) => item(one, zone, now, state, page))),
    more ? h("p", { class: "buttons" }, h("button", { type: "button", class: "second",
      onclick: () => { state.pages += 1; page.again(); } }, "More")) : null,
  ]);
}

function item(one, zone, now, state, page) {
  const said = state.said.get(one.id);
  const isClock = one.faults.some(({ reason }) => reason === "clock");
  const about = h("span", { class: "unseen" }, `: message ${one.id}`);
  return h("li", { "data-key": `held-${one.id}` }, h("div", {},
    h("h2", { class: "title" }, one.device ?? one.source),
    h("p", {}, `${when(one.received_at, zone, now)}, ${number(one.size_bytes)} bytes${one.times > 1 ? `, ${count(one.times, "time")}` : ""} from `,
      h("code", {}, one.source)),
    h("ul", { class: "evidence" }, one.faults.map(({ index, reason, detail }) =>
      h("li", {}, h("strong", {}, reason), `${index === null ? "" : ` (record ${index + 1})`}: ${detail}`))),
    said ? h("p", { role: "status" }, said) : null,
    h("p", { class: "buttons" },
      h("button", { type: "button", class: "second", onclick: () => again(one, 0, state, page) }, "Try again", about),
      isClock ? [h("label", { class: "small" }, "move its times by ",
        h("input", { "data-key": `shift-${one.id}`, id: `shift-${one.id}`, class: "hours", type: "number", step: "any", value: "-24" }), " hours "),
      h("button", { type: "button", class: "second",
        onclick: () => again(one, Math.round(Number(document.getElementById(`shift-${one.id}`).value) * HOUR_S), state, page) },
      "Move and try again", h("span", { class: "unseen" }, `: message ${one.id}`))] : null)));
}

async function again(one, shift_s, state, page) {
  try {
    const { stored, repeats, quarantined } = await post(`quarantine/${one.id}/readmit`, { shift_s });
    const had = repeats > 0 ? `, ${repeats} known before` : "";
    state.said.set(one.id, `${count(stored, "reading")} taken${had}, ${quarantined} still not.`);
  } catch (error) {
    state.said.set(one.id, error.message);
  }
  page.again();
}
