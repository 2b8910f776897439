// Keeps the run sheets that were looked at, and what they are drawn with, for when the network is away.
"use strict";

const SHEETS = "run-sheets";

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));

function isKept(request) {
  const { origin, pathname } = new URL(request.url);
  if (request.method !== "GET" || origin !== self.location.origin) return false;
  return /\/jobs\/\d+\/run\/$/.test(pathname) || /\.(css|js|svg)$/.test(pathname);
}

async function freshOrKept(request) {
  const sheets = await caches.open(SHEETS);
  try {
    const answer = await fetch(request);
    // Sent to the sign-in page: whoever holds this device is not signed in, and sees nothing that was kept.
    if (answer.redirected) await caches.delete(SHEETS);
    else if (answer.ok) await sheets.put(request, answer.clone());
    return answer;
  } catch (problem) {
    // A page that looks for news is told that there is none; a kept sheet would pass for a new one.
    const known = request.destination === "" ? undefined : await sheets.match(request);
    if (known) return known;
    throw problem;
  }
}

self.addEventListener("fetch", (event) => {
  if (isKept(event.request)) event.respondWith(freshOrKept(event.request));
});
