// Numbers, times and findings in words. Times are those of the hive's own yard.

const NOTHING = "–";
const MINUS = "\u2212";
const THIN = "\u202f";

/** A number with its unit; a dash for none. */
export function figure(value, unit, digits = 1) {
  return value === null || value === undefined ? NOTHING : `${number(value, digits)}${THIN}${unit}`;
}

/** A change, always with its sign. */
export function change(value, unit, digits = 1) {
  if (value === null || value === undefined) return NOTHING;
  const rounded = Number(value.toFixed(digits));
  const sign = rounded > 0 ? "+" : rounded < 0 ? MINUS : "±";
  return `${sign}${number(Math.abs(rounded), digits)}${THIN}${unit}`;
}

export function number(value, digits = 0) {
  return value.toLocaleString("en-GB", {
    minimumFractionDigits: digits, maximumFractionDigits: digits,
  }).replace("-", MINUS);
}

const forms = new Map();

function form(zone, parts) {
  const key = zone + JSON.stringify(parts);
  if (!forms.has(key)) {
    forms.set(key, new Intl.DateTimeFormat("en-GB", { timeZone: zone, hourCycle: "h23", ...parts }));
  }
  return forms.get(key);
}

/** "14:05". */
export function clock(time, zone) {
  return form(zone, { hour: "2-digit", minute: "2-digit" }).format(new Date(time));
}

/** "BST", "GMT+2": what the clock of a zone is called at a time. */
export function zoneName(time, zone) {
  return form(zone, { timeZoneName: "short" }).formatToParts(new Date(time))
    .find(({ type }) => type === "timeZoneName")?.value ?? zone;
}

/** "Tue 19 May". */
export function day(time, zone) {
  return form(zone, { weekday: "short", day: "numeric", month: "short" })
    .format(new Date(time)).replace(",", "");
}

/** "2026-05-19", to tell local days apart. */
export function dayKey(time, zone) {
  return form(zone, { year: "numeric", month: "2-digit", day: "2-digit" })
    .format(new Date(time)).split("/").reverse().join("-");
}

/** The moment of a local time such as "2026-05-19T14:05", RFC 3339 in UTC. */
export function momentOf(local, zone) {
  const asked = Date.parse(`${local}Z`);
  const shown = (ms) => Date.parse(`${dayKey(ms, zone)}T${clock(ms, zone)}Z`);
  let ms = asked;
  for (let n = 0; n < 2; n += 1) ms += asked - shown(ms); // twice: the first guess may lie beyond a change of the clocks
  return new Date(ms).toISOString().replace(/\.\d+/, "");
}

/** "14:05 today", "Tue 19 May, 14:05"; a day alone where it began, with the year when it is another. */
export function when(time, zone, now) {
  if (dayKey(time, zone) === dayKey(now, zone)) return `${clock(time, zone)} today`;
  const year = new Date(time).getUTCFullYear();
  const tail = year === new Date(now).getUTCFullYear() ? "" : ` ${year}`;
  const hour = clock(time, zone);
  return `${day(time, zone)}${tail}${hour === "00:00" ? "" : `, ${hour}`}`;
}

/** "4 min ago", "3 days ago". */
export function ago(time, now) {
  const seconds = (new Date(now) - new Date(time)) / 1000;
  if (seconds < 90) return "just now";
  if (seconds < 5400) return `${Math.round(seconds / 60)} min ago`;
  if (seconds < 129600) return `${Math.round(seconds / 3600)} h ago`;
  return `${Math.round(seconds / 86400)} days ago`;
}

/** "1 hive", "3 hives". */
export function count(n, one, many = `${one}s`) {
  return `${n} ${n === 1 ? one : many}`;
}

/** "Toppled", and for a device's own faults "scale-17: battery low". */
export function head(finding, kind) {
  const words = kind?.head ?? finding.kind.replaceAll("_", " ");
  const [what, name] = finding.subject.split(":");
  return what === "device" ? `${name}: ${words}` : words[0].toUpperCase() + words.slice(1);
}

/** "since 14:05 today", "Tue 19 May, 14:05 to 15:20". */
export function span(finding, zone, now) {
  if (finding.end === null) return `since ${when(finding.start, zone, now)}`;
  const start = when(finding.start, zone, now);
  if (finding.end === finding.start) return start;
  const sameDay = dayKey(finding.start, zone) === dayKey(finding.end, zone);
  const end = sameDay ? clock(finding.end, zone) : when(finding.end, zone, now);
  return `${start.replace(" today", "")} to ${end}${start.endsWith("today") ? " today" : ""}`;
}

/** "until 15:20", to stand beside the moment when it began; nothing where it lasts. */
export function until(finding, zone, now) {
  if (finding.end === null || finding.end === finding.start) return "";
  const sameDay = dayKey(finding.start, zone) === dayKey(finding.end, zone);
  return `until ${sameDay ? clock(finding.end, zone) : when(finding.end, zone, now)}`;
}

/** ", almost certain", ", likely", ", perhaps", with the share; nothing where a person has said what it was. */
export function sure({ confidence, status: became }) {
  if (became === "explained") return "";
  const word = confidence >= 0.95 ? "almost certain" : confidence >= 0.8 ? "likely" : "perhaps";
  return `, ${word} (${Math.round(confidence * 100)}${THIN}%)`;
}

const UNITS = {
  kg: "kg", c: "°C", k: "K", v: "V", min: "min", h: "h", hours: "h", days: "days", pct: "%",
  percent: "%", dbm: "dBm", s: "s", mm: "mm",
};

const NAMED = { error: "give or take", "bees error": "bees, give or take", lifted: "lifted for a while" };
const ALONE = { kg: "weight changed by", "°C": "temperature", V: "voltage", h: "lasted" };

/** The measures of a finding, whose units stand in their names: "step_kg" is "step: 6.2 kg". */
export function measures(finding) {
  return Object.entries(finding.measures).filter(([, value]) => value !== null)
    .map(([name, value]) => {
      const parts = name.split("_");
      const at = parts.findIndex((part) => part in UNITS);
      const unit = at < 0 ? "" : UNITS[parts.splice(at, 1)[0]];
      const shown = typeof value === "number"
        ? number(value, Number.isInteger(value) ? 0 : Math.abs(value) < 10 ? 2 : 1) : value;
      const said = parts.join(" ");
      return { name: NAMED[said] ?? (said || ALONE[unit] || ""), text: unit ? `${shown}${THIN}${unit}` : `${shown}` };
    });
}

const RANK = { emergency: 3, today: 2, "next visit": 1 };
const STATUS = {
  open: "open", ended: "over", explained: "explained by an inspection", withdrawn: "withdrawn",
};

const FRESH_MS = 2 * 86400000; // own choice: what ended before then is history

/** How soon a finding wants a look: 3 now, 2 today, 1 at the next visit, 0 not at all. */
export function rank(finding, kind, now) {
  const told = RANK[kind?.urgency ?? "today"] ?? 0;
  if (finding.status === "open") return told;
  const isFresh = finding.end !== null && new Date(now) - new Date(finding.end) < FRESH_MS;
  return finding.status === "ended" && isFresh && kind?.once_over === "tell" ? Math.min(told, 2) : 0;
}

export const SOON = ["", "at the next visit", "today", "now"];

export function status(finding) {
  return STATUS[finding.status] ?? finding.status;
}

/** What every hive does every week: listed on the hive's own page, but no news and no mark. */
export const isEveryday = (finding) => finding.kind === "orientation_flight";
