// What only the keeper knows, and his answer: one tap writes an inspection, or puts one right.

import { send } from "./api.js";
import { h } from "./dom.js";
import { by } from "./who.js";

const DONE = { POST: "Written down as an inspection.", PUT: "The inspection is corrected.", DELETE: "The inspection is taken back." };
const NOBODY = "Noted: nobody opened it. What the scale felt stays, as doubtful.";
const said = new Map(); // by the question's id: what became of the answer

/** The buttons of a question, or what became of its answer. */
export function answers(asked, again) {
  const told = said.get(asked.id);
  if (told?.isDone) return h("p", { class: "quiet", role: "status" }, told.words);
  return [
    told ? h("p", { class: "quiet", role: "status" }, told.words) : null,
    h("p", { class: "buttons" }, asked.answers.map((tap, i) => h("button", {
      "data-key": `${asked.id} ${tap.label} ${tap.if_match}`, type: "button", class: i === 0 && asked.yes ? null : "second", disabled: told?.isOnItsWay, onclick: () => give(asked, tap, again),
    }, tap.label, h("span", { class: "unseen" }, `: ${asked.hive}, ${asked.text}`)))),
  ];
}

async function give(asked, tap, again) {
  if (said.get(asked.id)?.isOnItsWay) return;
  said.set(asked.id, { words: "One moment …", isOnItsWay: true });
  again();
  try {
    const [path, body] = signed(tap);
    await send(tap.method, path, body, tap.if_match);
    said.set(asked.id, { words: tap.body?.opened === false ? NOBODY : DONE[tap.method], isDone: true });
  } catch (error) {
    const words = error.status === 412 ? "Somebody has changed it since; look again." : error.message;
    said.set(asked.id, { words: `Not written down: ${words}` });
  }
  again();
}

/** What to send, with the name of whoever answers. */
function signed({ method, path, body }) {
  const who = by();
  if (who === null) return [path, body];
  if (method === "DELETE") return [`${path}?${new URLSearchParams({ by: who })}`, body];
  return [path, { ...body, ...(method === "PUT" ? { changed_by: who } : { by: who }) }];
}
