// Shows what comes by Web Push, and opens what was told on a touch. It keeps no page and no answer.

addEventListener("install", () => skipWaiting());
addEventListener("activate", (event) => event.waitUntil(clients.claim()));

/** A message with a tag that is shown already takes its place, and rings no second time. */
addEventListener("push", (event) => {
  const { title, body, tag, stays, opens } = event.data.json();
  event.waitUntil(registration.showNotification(title, {
    body, tag, requireInteraction: stays, icon: "icon.svg", renotify: false, data: { opens },
  }));
});

addEventListener("notificationclick", (event) => {
  event.notification.close();
  event.waitUntil(show(new URL(event.notification.data?.opens ?? "#/alerts", registration.scope).href));
});

async function show(address) {
  const [open] = await clients.matchAll({ type: "window" });
  if (!open) return clients.openWindow(address);
  await open.navigate(address);
  return open.focus();
}
