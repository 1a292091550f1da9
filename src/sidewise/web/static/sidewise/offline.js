// Answers a reload without network with "reconnect to see". Nothing of any page is ever kept.

const WORDS = `<!doctype html><html lang="en"><head><meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1"><title>No network - sidewise</title></head>
<body><main><h1>Reconnect to see</h1><p>Records are not kept on this device. What was touched and not sent yet
is kept encrypted and is sent when the network is back and you are signed in.</p></main></body></html>`;

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));
self.addEventListener("fetch", (event) => {
  if (event.request.mode !== "navigate") return;
  const offline = () => new Response(WORDS, { headers: { "Content-Type": "text/html; charset=utf-8", "Cache-Control": "no-store" } });
  event.respondWith(fetch(event.request).catch(offline));
});
