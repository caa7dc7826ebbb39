// What people saw at a hive: each inspection in short sentences.

import { h } from "./dom.js";
import { count, figure, number, when } from "./words.js";

/** The inspections of a hive, the newest first; `form` puts one right. */
export function inspectionList(seen, names, { zone, now, listed, form }) {
  if (seen.length === 0) {
    return [h("p", { class: "quiet" }, "No inspection is written down. A file of them is read by ",
      h("code", {}, "hivewatch inspections load FILE"), ".")];
  }
  return [h("ol", { class: "findings" }, seen.slice(0, listed).map((event) =>
    h("li", { "data-key": event.id }, h("span", { class: "mark seen" }, names.get(event.id)),
      h("div", {}, h("h3", {}, when(event.at, zone, now), event.inspection.by ? ` by ${event.inspection.by}` : ""),
        became(event.inspection) ? h("p", {}, h("strong", {}, became(event.inspection))) : null,
        h("p", { class: event.inspection.withdrawn ? "quiet" : null }, sentences(event.inspection).join(" ")),
        event.inspection.withdrawn ? null : h("p", {}, h("button", {
          "data-key": `correct-${event.id}-${event.inspection.version}`, type: "button", class: "link", onclick: () => form.correct(event.inspection),
        }, "Correct", h("span", { class: "unseen" }, `: ${names.get(event.id)}`)))))))];
}

/** "corrected", "withdrawn", or nothing. */
export const became = (one) => (one.withdrawn ? "withdrawn: it counts for nothing" : one.version > 1 ? "corrected" : "");

/** What an inspection says, in short sentences. */
export function sentences({ opened, brood, adults, stores_kg, frames, queen, queen_cells, actions, note }) {
  const cells = Object.entries(brood ?? {}).filter(([, n]) => n !== null && n !== undefined);
  const said = [];
  if (cells.length) said.push(`Brood cells: ${cells.map(([stage, n]) => `${number(n)} ${stage}`).join(", ")}.`);
  if (frames?.length) said.push(sides(frames));
  if (adults !== null && adults !== undefined) said.push(`${number(adults)} bees.`);
  if (stores_kg !== null && stores_kg !== undefined) said.push(`Stores ${figure(stores_kg, "kg")}.`);
  if (queen) said.push(`Queen: ${queen}.`);
  if (queen_cells?.count) said.push(`${count(queen_cells.count, "queen cell")}${queen_cells.stage ? `, ${queen_cells.stage}` : ""}.`);
  for (const { what, kg } of actions ?? []) said.push(`${what[0].toUpperCase()}${what.slice(1)}${kg ? `, ${figure(kg, "kg")}` : ""}.`);
  if (opened === false) said.push("Nobody opened it.");
  if (note) said.push(note);
  return said.length ? said : ["Seen, nothing noted."];
}

const ON_COMB = ["eggs", "open", "capped", "honey", "pollen", "bees"];

/** "Of 4 sides of comb: 1.2 eggs, 2.5 capped." */
function sides(frames) {
  const sums = ON_COMB.map((name) => [name, frames.map((one) => one[name] ?? null).filter((share) => share !== null)])
    .filter(([, shares]) => shares.length > 0)
    .map(([name, shares]) => `${number(shares.reduce((sum, share) => sum + share, 0), 1)} ${name}`);
  return `Of ${count(frames.length, "side")} of comb: ${sums.join(", ") || "nothing told"}.`;
}
