// The shell alone is kept on the phone: what a page looks like, and the page that answers
// when the farm cannot be reached. No figure is kept, for it would be old; and nothing that
// was sent is kept and sent later, for a change belongs to the moment it was asked for.
"use strict";
const shell = "leat-{{.Version}}";
const parts = ["/style.css", "/live.js", "/icon.svg", "/offline"];
self.addEventListener("install", e => e.waitUntil(caches.open(shell).then(c => c.addAll(parts)).then(() => self.skipWaiting())));
self.addEventListener("activate", e => e.waitUntil(caches.keys().then(all => Promise.all(all.filter(k => k !== shell).map(k => caches.delete(k)))).then(() => self.clients.claim())));
self.addEventListener("fetch", e => {
  if (e.request.mode === "navigate") e.respondWith(fetch(e.request).catch(() => caches.match("/offline")));
  else if (e.request.method === "GET" && parts.includes(new URL(e.request.url).pathname)) e.respondWith(fetch(e.request).catch(() => caches.match(e.request)));
});
