// A visit, written down where one stands, or put right: what was counted, seen and done.

import { send } from "./api.js";
import { h } from "./dom.js";
import { by, whoField } from "./who.js";
import { clock, dayKey, momentOf, when } from "./words.js";

const QUEEN = ["seen", "eggs seen", "not seen", "absent", "virgin", "new"];
const STAGES = ["cups", "eggs", "open", "capped", "emerged"];
const DONE = ["super added", "super removed", "fed", "harvested", "requeened", "queen caged", "split", "united",
  "treated", "moved", "given away", "other"];
const ROWS = [1, 2]; // own choice: more was seldom done at one visit; the rest goes into the note
const NEW = "Write down a visit";

/** The form of a hive's page, made once and kept; `here()` gives its zone and the present. */
export class VisitForm {
  constructor(hive, here, page) {
    Object.assign(this, { hive, here, page, corrected: null, key: newKey() }); // by its key, two taps are one visit
    this.title = h("summary", {}, NEW);
    this.said = h("p", { role: "status" });
    const other = (label, does) => h("button", { type: "button", class: "second", hidden: true, onclick: does }, label);
    this.others = [other("Take it back", () => this.send("DELETE", "Taken back.")), other("Leave it as it is", () => this.clear(""))];
    this.form = h("form", { class: "visit", onsubmit: (event) => { event.preventDefault(); this.write(); },
      oninput: () => this.demand() },
      part("When", field("local time at the hive", h("input", { name: "at", type: "datetime-local", required: true }))),
      part("Brood cells", count("eggs", "eggs"), count("open", "open"), count("capped", "capped")),
      part("In the hive", count("adults", "bees"), weight("stores_kg", "stores, kg")),
      part("Queen", choice("queen", "queen", QUEEN), count("cells", "queen cells"), choice("stage", "the furthest", STAGES)),
      ROWS.map((n) => part(n === 1 ? "Done" : "And", choice(`what${n}`, "what", DONE), weight(`kg${n}`, "kg on or off"))),
      part("Note", field("", h("textarea", { name: "note", rows: 2, maxlength: 5000, "aria-label": "note" }))),
      whoField(),
      h("p", { class: "quiet small" }, "Leave empty what you did not look at; 0 says that you looked and found none."),
      h("p", { class: "buttons" }, h("button", { type: "submit" }, "Write down"), this.others), this.said);
    this.element = h("details", { ontoggle: () => this.date() }, this.title, this.form);
  }

  /** Offer the present, at the hive. */
  date() {
    const { now, zone } = this.here();
    this.form.elements.at.value ||= localTime(now, zone);
  }

  /** Show what was written down, to be put right or taken back. */
  correct(one) {
    const { now, zone } = this.here();
    this.clear("");
    this.corrected = one;
    this.title.textContent = `Correct the visit of ${when(one.at, zone, now)}`;
    for (const button of this.others) button.hidden = false;
    const values = { ...one.brood, adults: one.adults, stores_kg: one.stores_kg, queen: one.queen, note: one.note,
      at: localTime(one.at, zone), cells: one.queen_cells?.count, stage: one.queen_cells?.stage };
    for (const n of ROWS) [values[`what${n}`], values[`kg${n}`]] = [one.actions[n - 1]?.what, one.actions[n - 1]?.kg];
    for (const [name, value] of Object.entries(values)) this.form.elements[name].value = value ?? "";
    this.demand();
    this.element.open = true;
    this.element.scrollIntoView({ block: "start" });
    this.title.focus({ preventScroll: true });
  }

  /** Be empty again, and say what came of it. */
  clear(words) {
    this.form.reset();
    Object.assign(this, { corrected: null, key: newKey() });
    this.title.textContent = NEW;
    for (const button of this.others) button.hidden = true;
    this.said.textContent = words;
    this.demand();
    this.date();
  }

  /** Kilograms want to be told of what, and cells how many: otherwise they would be left out unseen. */
  demand() {
    const { elements } = this.form;
    for (const n of ROWS) elements[`what${n}`].required = elements[`kg${n}`].value !== "";
    elements.cells.required = elements.stage.value !== "";
  }

  write() {
    return this.send(this.corrected ? "PUT" : "POST", this.corrected ? "Corrected." : "Written down.");
  }

  async send(method, words) {
    const buttons = this.form.querySelectorAll("button");
    for (const button of buttons) button.disabled = true;
    const [one, who] = [this.corrected, by()];
    const path = one ? `inspections/${one.id}` : "inspections";
    const tag = one && `"${one.id}-${one.version}"`;
    try {
      if (method === "DELETE") await send(method, who ? `${path}?${new URLSearchParams({ by: who })}` : path, null, tag);
      else await send(method, path, one ? { ...kept(one), ...this.told(), changed_by: who } : { ...this.told(), key: this.key, by: who }, tag);
      this.clear(words);
    } catch (error) {
      const why = error.status === 412 ? "somebody has changed it since; look again." : error.message.replaceAll("body.", "");
      this.said.textContent = `Not written down: ${why}`;
    }
    for (const button of buttons) button.disabled = false;
    this.page.again();
  }

  /** What the form says, as the API takes it. */
  told() {
    const { zone } = this.here();
    const text = (name) => this.form.elements[name].value.trim() || null;
    const number = (name) => (text(name) === null ? null : Number(text(name)));
    const brood = { eggs: number("eggs"), open: number("open"), capped: number("capped") };
    const [cells, before] = [number("cells"), this.corrected];
    return {
      hive: this.hive,
      at: before && localTime(before.at, zone) === text("at") ? before.at : momentOf(text("at"), zone),
      brood: Object.values(brood).some((n) => n !== null) ? brood : null,
      adults: number("adults"), stores_kg: number("stores_kg"), queen: text("queen"),
      queen_cells: cells === null ? null : { count: cells, stage: text("stage") },
      actions: [...ROWS.filter((n) => text(`what${n}`)).map((n) => ({ what: text(`what${n}`), kg: number(`kg${n}`) })),
        ...(before?.actions ?? []).slice(ROWS.length)],
      note: text("note") ?? "",
    };
  }
}

const localTime = (time, zone) => `${dayKey(time, zone)}T${clock(time, zone)}`;

/** What an inspection says that the form has no field for. */
const kept = ({ by: whose, frames, opened, sure }) => ({ by: whose, frames, opened, sure });

/** A name that no other visit has; randomUUID is only there over TLS. */
const newKey = () => [...crypto.getRandomValues(new Uint8Array(16))].map((byte) => byte.toString(16).padStart(2, "0")).join("");

const part = (name, ...fields) => h("fieldset", {}, h("legend", {}, name), fields);
const field = (label, input) => h("label", {}, input, label ? h("span", { class: "small" }, ` ${label}`) : null);
const count = (name, label) => field(label, h("input", { name, type: "number", min: 0, step: 1 }));
const weight = (name, label) => field(label, h("input", { name, type: "number", min: 0, step: "any" }));
const choice = (name, label, words) => field(label, h("select", { name }, h("option", { value: "" }, "–"),
  words.map((word) => h("option", {}, word))));
