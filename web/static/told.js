// The service worker that shows what this phone asked to be told. It keeps
// nothing and answers no request: a page is always the server's own.
self.addEventListener("push", (event) => {
  let note;
  try {
    note = event.data.json();
  } catch {
    note = { title: "toeboard", body: "Something changed: open the morning.", href: "/morning", tag: "unread" };
  }
  event.waitUntil(
    self.registration.showNotification(note.title, {
      body: note.body,
      tag: note.tag,
      renotify: true,
      icon: "/static/mark.svg",
      data: { href: note.href },
    }),
  );
});

self.addEventListener("notificationclick", (event) => {
  event.notification.close();
  const to = new URL(event.notification.data?.href ?? "/morning", self.location.origin);
  if (to.origin !== self.location.origin) return;
  event.waitUntil(
    self.clients.matchAll({ type: "window", includeUncontrolled: true }).then(async (open) => {
      for (const page of open) {
        if (page.url === to.href) return page.focus();
      }
      return self.clients.openWindow(to.href);
    }),
  );
});
