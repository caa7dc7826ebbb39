// Who sits here: the name that answers are written down under, kept in this browser alone.

import { h } from "./dom.js";

const KEY = "hivewatch.by";
let name = null;

/** The name that was given; null when nobody gave one. */
export function by() {
  if (name === null) {
    try {
      name = localStorage.getItem(KEY) ?? "";
    } catch {
      name = ""; // a browser may keep nothing
    }
  }
  return name.trim() || null;
}

/** The field to give it in. */
export function whoField() {
  return h("p", { class: "who small" }, h("label", { "data-key": "who" }, "Your name, kept with what you write: ",
    h("input", { type: "text", maxlength: 100, autocomplete: "name", value: by() ?? "", oninput: (event) => keep(event.currentTarget.value) })));
}

function keep(value) {
  name = value;
  try {
    localStorage.setItem(KEY, value);
  } catch { /* then it holds until the page is closed */ }
}
