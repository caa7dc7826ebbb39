// Says when something was written, so that a page is read again then and not for nothing.

const HEARD = ["finding", "alert", "inspection", "readings", "missed"];

/**
 * Call `changed` with what was written, whenever something was. Gives whether the stream lives, and a way to stop
 * it: a browser has few connections for one server, so a page that nobody sees keeps none.
 */
export function follow(changed) {
  let source = null;
  return {
    get isLive() { return source?.readyState === EventSource.OPEN; },
    start() {
      if (source && source.readyState !== EventSource.CLOSED) return;
      source = new EventSource("/api/v1/events");
      for (const name of HEARD) source.addEventListener(name, () => changed(name));
      source.addEventListener("error", () => changed("error")); // the next reading says whether anybody answers
    },
    stop() {
      source?.close();
      source = null;
    },
  };
}
