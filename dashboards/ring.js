// Whether this phone rings: asked on a touch alone, tried out and switched off here.

import { get, post, send } from "./api.js";
import { h } from "./dom.js";
import { count, when } from "./words.js";
import { by } from "./who.js";

const THIS = matchMedia("(pointer: coarse)").matches ? "phone" : "computer";
const BROWSERS = ["Edg", "Firefox", "Chrome", "Safari"];
const SYSTEMS = ["Android", "iPhone", "iPad", "Windows", "Mac", "Linux"];
const WAITING = "One moment …";
let said = ""; // what became of the last touch

/** The phones that asked to ring, and what this one is to them. */
export async function readRing() {
  try {
    const push = await get("push");
    return { ...push, ...(await here(push)) };
  } catch (error) {
    if (error instanceof TypeError) throw error; // no answer at all
    return { phones: [], hinders: error.message }; // the alerts are shown all the same
  }
}

async function here({ key, phones }) {
  if (!isSecureContext) {
    return { hinders: "a browser rings only for pages that it has over HTTPS, or from localhost." };
  }
  if (!("serviceWorker" in navigator && "PushManager" in window && "Notification" in window)) {
    return { hinders: "this browser has no Web Push. On an iPhone, add this page to the home screen and open it there." };
  }
  if (Notification.permission === "denied") {
    return { hinders: "you refused this page's notifications. Allow them in the browser's settings for this page, then come back." };
  }
  const subscription = await subscribed();
  const id = subscription && bytesEqual(subscription.options.applicationServerKey, bytesOf(key)) ? await idOf(subscription) : null;
  return { mine: phones.find((one) => one.id === id && !one.ended) ?? null };
}

async function subscribed() {
  const registration = await navigator.serviceWorker.getRegistration();
  return await registration?.pushManager.getSubscription() ?? null;
}

/** `phone-`, and the beginning of the endpoint's SHA-256, as the server names it. */
async function idOf(subscription) {
  const digest = await crypto.subtle.digest("SHA-256", new TextEncoder().encode(subscription.endpoint));
  const hex = [...new Uint8Array(digest)].map((one) => one.toString(16).padStart(2, "0")).join("");
  return `phone-${hex.slice(0, 12)}`;
}

const bytesOf = (text) => Uint8Array.from(atob(text.replaceAll("-", "+").replaceAll("_", "/")), (one) => one.charCodeAt(0));

function bytesEqual(buffer, bytes) {
  const other = new Uint8Array(buffer ?? []);
  return other.length === bytes.length && other.every((one, i) => one === bytes[i]);
}

/** What stands on the page of alerts. */
export function ringPart(ring, zone, now, page) {
  const { mine, hinders, phones } = ring;
  const button = (words, does) => h("button", { // what is touched follows who this is
    type: "button", class: "second", "data-key": `${words} ${mine?.id}`, onclick: () => touched(page, does),
  }, words);
  return h("section", { class: "ring", "aria-label": `Ringing this ${THIS}`, "data-key": "ring" },
    h("p", {}, h("strong", {}, mine ? `This ${THIS} rings.` : `This ${THIS} does not ring`),
      mine ? ` ${reached(mine, zone, now)}` : hinders ? `: ${hinders}` : "."),
    hinders ? null : h("p", { class: "buttons" }, mine
      ? [button("Ring once now", () => tryOut(mine)), button("Switch off", () => switchOff(mine))]
      : button(`Ring this ${THIS}`, () => switchOn(ring.key))),
    h("p", { role: "status", class: "quiet" }, said),
    phones.every((one) => one.id === mine?.id) ? null : h("details", {}, h("summary", {}, count(phones.length, "phone asked", "phones asked") + " to ring"),
      h("ul", { class: "plain" }, phones.map((one) => h("li", { "data-key": one.id },
        h("p", {}, `${one.label}, since ${when(one.since, zone, now)}${one.ended ? `; rings no more since ${when(one.ended, zone, now)}` : ""}. ${reached(one, zone, now)} `,
          one.id === mine?.id ? "It is this one." : h("button", { type: "button", class: "link", onclick: () => touched(page, () => switchOff(one)) },
            one.ended ? "Take off the list" : "Switch off", h("span", { class: "unseen" }, `: ${one.label}`))))))));
}

function reached(one, zone, now) {
  if (one.error) return `Not reached ${when(one.error_at, zone, now)}: ${one.error}.`;
  return one.heard ? `Last reached ${when(one.heard, zone, now)}.` : "Not rung yet.";
}

async function touched(page, does) {
  if (said === WAITING) return; // a browser, or a push service, may take its time
  said = WAITING;
  page.again();
  try {
    said = await does();
  } catch (error) {
    said = `That did not work: ${error.message}`;
  }
  page.again();
}

async function switchOn(key) {
  if (await Notification.requestPermission() !== "granted") return "The browser was not allowed to.";
  await navigator.serviceWorker.register("service-worker.js");
  const { pushManager } = await navigator.serviceWorker.ready;
  await (await pushManager.getSubscription())?.unsubscribe(); // it may hold for another key
  const subscription = await pushManager.subscribe({ userVisibleOnly: true, applicationServerKey: bytesOf(key) });
  await post("push", { ...subscription.toJSON(), label: label() });
  return "";
}

async function switchOff({ id }) {
  await send("DELETE", `push/${id}`, null);
  const subscription = await subscribed();
  if (subscription && await idOf(subscription) === id) await subscription.unsubscribe();
  return "";
}

async function tryOut({ id }) {
  const { rang, said: why } = await post(`push/${id}/trial`);
  return rang ? "Sent. If nothing rings, look at the phone's own settings for notifications." : `It did not ring: ${why}.`;
}

function label() {
  const [browser, system] = [BROWSERS, SYSTEMS].map((names) => names.find((name) => navigator.userAgent.includes(name)));
  const what = [browser === "Edg" ? "Edge" : browser ?? "A browser", system].filter(Boolean).join(" on ");
  return (by() ? `${by()}: ${what}` : what).slice(0, 100);
}
