// The service worker: the carer's pages open without signal as they were kept, and waiting reports are sent when there is
// signal again, where the browser can do that on its own. handover.offline.views.worker puts addresses in front of this text: ASSETS
// (styles, fonts, scripts), OUTBOX (the scripts that send), KEPT_URL (what is kept) and NOT_KEPT_URL (the page for the rest).
"use strict";
importScripts(...OUTBOX);

const SLOW_MS = 5000; // a kept page is better than a white one
const FORGET_MS = 14 * 86400000;
const DOWN = [502, 503, 504];

self.addEventListener("install", (event) => {
  event.waitUntil(caches.open("assets").then((assets) => assets.addAll(ASSETS)).then(() => self.skipWaiting()));
});
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));
self.addEventListener("sync", (event) => { if (event.tag === "outbox") event.waitUntil(sendOrTryAgain()); });
self.addEventListener("notificationclick", (event) => { // an animal must come out of the water
  event.notification.close();
  event.waitUntil(self.clients.openWindow(event.notification.data));
});

// A promise that fails tells the browser to try again later.
async function sendOrTryAgain() {
  if (await Outbox.flush() === "unreachable") throw new Error("unreachable");
}

self.addEventListener("fetch", (event) => {
  const url = new URL(event.request.url);
  if (event.request.method !== "GET" || url.origin !== self.location.origin) return;
  if (url.pathname.startsWith("/static/")) event.respondWith(asset(event.request));
  else if (event.request.mode === "navigate") event.respondWith(page(event.request, url));
});

async function asset(request) {
  return await caches.match(request, { ignoreVary: true }) || fetch(request);
}

async function page(request, url) {
  const kept = await keptPage(url);
  const asked = fetch(request);
  if (!kept) return asked.catch(async () => await fromPages(NOT_KEPT_URL) || Response.error());
  const slow = new Promise((resolve) => { setTimeout(resolve, SLOW_MS, null); });
  const answer = await Promise.race([asked.catch(() => null), slow]);
  return answer && !DOWN.includes(answer.status) ? answer : kept;
}

// The page as it was kept; of today's page the one that was made for the day that it is now where the hospital is.
async function keptPage(url) {
  if (url.search) return undefined; // asks for something else than what is kept
  const about = await fromPages(KEPT_URL);
  const days = about && (await about.json());
  if (days && Date.now() - new Date(days.at) > FORGET_MS) {
    await caches.delete("pages");
    return undefined;
  }
  const forDays = days && days.days[url.pathname];
  if (!forDays) return fromPages(url.pathname);
  const day = new Intl.DateTimeFormat("en-CA", { timeZone: days.zone }).format(new Date());
  const last = Object.keys(forDays).sort().pop();
  return fromPages(forDays[day] || (day > last ? forDays[last] : url.pathname));
}

function fromPages(address) {
  return caches.match(address, { cacheName: "pages", ignoreVary: true });
}
