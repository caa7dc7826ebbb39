// The round in a few words: how soon, by which day, what to take; for the round and for the yards.

import { get } from "./api.js";
import { h } from "./dom.js";
import { day } from "./words.js";

const SOON = {
  emergency: ["now", 3], deadline: ["due soon", 2], today: ["today", 2],
  "next visit": ["at the next visit", 1], count: ["count again", 0],
};

const HOUR_MS = 3600 * 1000; // by the clock of the yards: as often as outlooks are worked out
const AGAIN_MS = 15 * 60 * 1000; // own choice: should nobody say what is new
const SETTLED_MS = 60 * 1000; // own choice: by then the server has made round and outlooks anew
let newsMs = 0;

/** Something was found, seen or told: a round that was read before may be another one now. */
export function outdate() {
  newsMs = Date.now();
}

/** Gives the round as of a moment; asks anew when there is news, when it has settled, or after an hour. */
export function roundNowAndThen() {
  let round = null;
  let readMs = 0;
  const isOld = (now, ms) => readMs <= newsMs || (readMs < newsMs + SETTLED_MS && ms >= newsMs + SETTLED_MS)
    || ms - readMs > AGAIN_MS || new Date(now) - new Date(round.as_of) > HOUR_MS;
  return async (now) => {
    const ms = Date.now();
    if (isOld(now, ms)) [round, readMs] = [await get("round"), ms];
    return round;
  };
}

/** "3 yards need a visit; Mill race first, today." */
export function inWords(visits) {
  const [first] = visits;
  const go = visits.length === 1 ? "One yard needs a visit" : `${visits.length} yards need a visit`;
  return `${go}; ${first.name} ${visits.length === 1 ? "" : "first, "}${first.when}.`;
}

/** How soon, as a mark; `said` in other words. */
export function soon(urgency, said = null) {
  const [words, step] = SOON[urgency] ?? [urgency, 0];
  return h("span", { class: `soon soon-${step}` }, said ?? words);
}

/** Whether a reason's date is past. */
export const isOverdue = ({ urgency, by }, today) => urgency === "deadline" && by !== null && by < today;

/** How soon a reason wants a visit, as a mark; a date that is past is overdue. */
export const soonFor = (reason, today) => soon(reason.urgency, isOverdue(reason, today) ? "overdue" : null);

/** A local day has no zone: it is read as midday UTC and shown as such. */
export const localDay = (text) => day(`${text}T12:00:00Z`, "UTC").replaceAll(" ", "\u00a0");

/** "2 × super (dadant)", "5 kg feed". */
export function thing({ what, count, unit, fits }) {
  const frame = fits ? ` (${fits.replaceAll("-", " ")})` : "";
  return unit ? `${count} ${unit} ${what}${frame}` : `${count > 1 ? `${count} × ` : ""}${what}${frame}`;
}

/** "Leave it closed until Wed 3 Jun if you can: a swarm that left on 16 May." */
export const closed = (hive) => [
  h("strong", {}, `Leave it closed until ${localDay(hive.closed_until)} if you can: `), `${hive.closed_because}.`];
