// Answers a reload without network with "reconnect to see". Nothing of any page is ever kept; the page that
// says so looks for the network and opens what was asked for by itself.

const WORDS = `<!doctype html><html lang="en"><head><meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1"><meta name="color-scheme" content="light dark">
<title>No network - sidewise</title><style>
body { margin: 0; font: 1.1rem/1.5 system-ui, sans-serif; color: #22302f; background: #fcfaf5; }
main { max-width: 34rem; margin: 12vh auto; padding: 0 1.25rem; }
@media (prefers-color-scheme: dark) { body { color: #e9e4d8; background: #171d1c; } }
</style></head>
<body><main><h1>Reconnect to see</h1><p>Records are not kept on this device. What was touched and not sent yet
is kept encrypted and is sent when the network is back and you are signed in.</p>
<p role="status">This page looks for the network every few seconds and opens what you asked for by itself.</p></main>
<script>const look = () => fetch("/health/", { cache: "no-store" }).then((answer) => { if (answer.ok) location.reload(); }, () => {});
addEventListener("online", look); setInterval(look, 4000);</script></body></html>`;

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));
self.addEventListener("fetch", (event) => {
  if (event.request.mode !== "navigate") return;
  const offline = () => new Response(WORDS, { headers: { "Content-Type": "text/html; charset=utf-8", "Cache-Control": "no-store" } });
  event.respondWith(fetch(event.request).catch(offline));
});
