// Keeps the page's own files, so that it opens without the watch and says so. What the watch says is never kept.

const KEPT = "watchkeeper-page";
const FILES = [
  "./",
  "page.css",
  "page.js",
  "dom.js",
  "geo.js",
  "hails.js",
  "live.js",
  "map.js",
  "views.js",
  "words.js",
  "land.json",
  "icon.svg",
  "watchkeeper.webmanifest",
];

self.addEventListener("install", (event) => {
  event.waitUntil(caches.open(KEPT).then((cache) => cache.addAll(FILES)));
  self.skipWaiting();
});

self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));

self.addEventListener("fetch", (event) => {
  const { pathname } = new URL(event.request.url);
  if (event.request.method !== "GET" || pathname.includes("/api/")) return;
  event.respondWith(
    fetch(event.request)
      .then(async (answer) => {
        if (answer.ok) (await caches.open(KEPT)).put(event.request, answer.clone());
        return answer;
      })
      .catch(() => caches.match(event.request, { ignoreSearch: true })),
  );
});
