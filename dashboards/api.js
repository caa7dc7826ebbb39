// Asks the API. Nothing else on these pages knows an address.

const ROOT = "/api/v1/";

/** Get one document; `query` leaves out what is null; of an array each value stands. */
export async function get(path, query = {}) {
  const asked = new URLSearchParams();
  for (const [name, value] of Object.entries(query)) {
    if (value !== null) for (const one of [value].flat()) asked.append(name, one);
  }
  const tail = asked.size ? `?${asked}` : "";
  return answer(await fetch(ROOT + path + tail, { headers: { accept: "application/json" } }));
}

/** Get a whole list, page by page. */
export async function list(path, query = {}) {
  const items = [];
  let now = null;
  let after = null;
  do {
    const page = await get(path, { limit: 1000, ...query, after });
    items.push(...page.items);
    now = page.now;
    after = page.next;
  } while (after !== null);
  return { items, now };
}

/** Change something. */
export async function post(path, body = {}) {
  return send("POST", path, body);
}

/** Write, correct or take back; `tag` is that of the version that was seen. */
export async function send(method, path, body, tag = null) {
  return answer(await fetch(ROOT + path, {
    method,
    headers: { "content-type": "application/json", ...(tag ? { "if-match": tag } : {}) },
    body: body === null ? undefined : JSON.stringify(body),
  }));
}

async function answer(response) {
  const body = await response.json();
  if (!response.ok) throw Object.assign(new Error(body.detail), { status: response.status });
  return body;
}

/** What of hivewatch does not work now, in words. */
export async function faults() {
  const { parts } = await (await fetch("/readyz")).json();
  return parts.filter(({ well }) => !well).map(({ name, detail }) => (detail.startsWith(name) ? detail : `${name}: ${detail}`));
}

let words = null;

/** The words for each kind of finding, asked for once. */
export async function kinds() {
  words ??= get("kinds").then(({ items }) => new Map(items.map((one) => [one.kind, one])));
  return words.catch((error) => { words = null; throw error; });
}
