// A visit, written down where one stands: what was counted, seen and done becomes an inspection.

import { send } from "./api.js";
import { h } from "./dom.js";
import { by, whoField } from "./who.js";
import { clock, dayKey, momentOf } from "./words.js";

const QUEEN = ["seen", "eggs seen", "not seen", "absent", "virgin", "new"];
const STAGES = ["cups", "eggs", "open", "capped", "emerged"];
const DONE = ["super added", "super removed", "fed", "harvested", "requeened", "queen caged", "split", "united",
  "treated", "moved", "given away", "other"];
const ROWS = [1, 2]; // own choice: more was seldom done at one visit; the rest goes into the note

/** The form of a hive's page; `here()` gives its zone and the present. It is made once and kept. */
export function visitForm(hive, here, page) {
  const said = h("p", { role: "status" });
  let key = newKey(); // two taps are one visit
  const form = h("form", { class: "visit", onsubmit: write },
    part("When", field("local time at the hive", h("input", { name: "at", type: "datetime-local", required: true }))),
    part("Brood cells", count("eggs", "eggs"), count("open", "open"), count("capped", "capped")),
    part("In the hive", count("adults", "bees"), weight("stores_kg", "stores, kg")),
    part("Queen", choice("queen", "queen", QUEEN), count("cells", "queen cells"), choice("stage", "the furthest", STAGES)),
    ROWS.map((n) => part(n === 1 ? "Done" : "And", choice(`what${n}`, "what", DONE), weight(`kg${n}`, "kg on or off"))),
    part("Note", field("", h("textarea", { name: "note", rows: 2, maxlength: 5000, "aria-label": "note" }))),
    whoField(),
    h("p", { class: "quiet small" }, "Leave empty what you did not look at; 0 says that you looked and found none."),
    h("p", { class: "buttons" }, h("button", { type: "submit" }, "Write down")), said);

  async function write(event) {
    event.preventDefault();
    const button = form.querySelector("button");
    button.disabled = true;
    try {
      await send("POST", "inspections", told(form, hive, here().zone, key));
      said.textContent = "Written down.";
      form.reset();
      date();
      key = newKey();
    } catch (error) {
      said.textContent = `Not written down: ${error.message.replaceAll("body.", "")}`;
    }
    button.disabled = false;
    page.again();
  }

  /** Offer the present, at the hive. */
  function date() {
    const { now, zone } = here();
    form.elements.at.value ||= `${dayKey(now, zone)}T${clock(now, zone)}`;
  }

  return h("details", { ontoggle: date }, h("summary", {}, "Write down a visit"), form);
}

/** A name that no other visit has; randomUUID is only there over TLS. */
const newKey = () => [...crypto.getRandomValues(new Uint8Array(16))].map((byte) => byte.toString(16).padStart(2, "0")).join("");

const part = (name, ...fields) => h("fieldset", {}, h("legend", {}, name), fields);
const field = (label, input) => h("label", {}, input, label ? h("span", { class: "small" }, ` ${label}`) : null);
const count = (name, label) => field(label, h("input", { name, type: "number", min: 0, step: 1 }));
const weight = (name, label) => field(label, h("input", { name, type: "number", min: 0, step: 0.1 }));
const choice = (name, label, words) => field(label, h("select", { name }, h("option", { value: "" }, "–"),
  words.map((word) => h("option", {}, word))));

/** What the form says, as the API takes it. */
function told(form, hive, zone, key) {
  const text = (name) => form.elements[name].value.trim() || null;
  const number = (name) => (text(name) === null ? null : Number(text(name)));
  const brood = { eggs: number("eggs"), open: number("open"), capped: number("capped") };
  const cells = number("cells");
  return {
    hive, key, by: by(), at: momentOf(text("at"), zone),
    brood: Object.values(brood).some((n) => n !== null) ? brood : null,
    adults: number("adults"), stores_kg: number("stores_kg"), queen: text("queen"),
    queen_cells: cells === null ? null : { count: cells, stage: text("stage") },
    actions: ROWS.filter((n) => text(`what${n}`)).map((n) => ({ what: text(`what${n}`), kg: number(`kg${n}`) })),
    note: text("note") ?? "",
  };
}
