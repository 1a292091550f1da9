// Opens every stage of an examination while the network is gone.
//
// The stages are fetched in the background while the page lies open, one after the other, and kept
// in this page's memory alone: with the page they are gone. When the network is back the stage that
// is shown is fetched as it stands then.

const PAUSE = 1_500; // ms between two stages, so that what a hand asks for comes first.
const AGAIN = 4_000;
const parts = new Map();
const links = () => [...document.querySelectorAll("[data-strip] a[href*='/stage/']")];
const column = document.querySelector(".mirror-column");
const notice = (text) => document.dispatchEvent(new CustomEvent("notice", { detail: { text } }));
const wait = (time) => new Promise((resolve) => { setTimeout(resolve, time); });
let ended = false;
let shown = null;

const fetchPart = async (address) => {
  const answer = await fetch(`${address}?part=1`, { headers: { "X-Sidewise-Background": "1", "HX-Request": "true" } });
  if (answer.ok && !answer.redirected && !ended) parts.set(address, await answer.text());
};

// The stage one looks at is kept as it stands: what was touched there is marked on it.
const fetchAll = async () => {
  for (const address of new Set(links().map((link) => new URL(link.href).pathname))) {
    if (ended) return;
    if (!parts.has(address) && address !== location.pathname) {
      await fetchPart(address).catch(() => {});
      await wait(PAUSE);
    }
  }
};

const words = (text) => {
  const said = document.createElement("p");
  said.className = "without-network";
  said.setAttribute("role", "status");
  said.textContent = text;
  return said;
};

const open = (address, name) => {
  const leaving = shown ?? location.pathname;
  const there = document.createElement("div");
  there.append(...column.childNodes);
  parts.set(leaving, there);
  shown = address;
  const part = parts.get(address);
  if (part instanceof Node) {
    column.replaceChildren(...part.childNodes);
  } else if (part) {
    column.innerHTML = part; // The server's own page, fetched by this one.
    column.prepend(words("Without network: as it was when it was last fetched. What you touch waits and is sent later."));
    window.htmx?.process(column);
  } else {
    column.replaceChildren(words(`${name} was not fetched before the network was lost. It opens by itself when the network is back.`));
  }
  history.replaceState(null, "", address);
  window.scrollTo(0, 0);
  column.querySelector("h2")?.focus?.();
  document.dispatchEvent(new CustomEvent("htmx:load", { detail: { elt: column } }));
  notice(`without network: ${name}`);
  comeBack(address);
};

// When the server answers again and nothing waits to be sent, the stage is asked for anew.
const comeBack = async (address) => {
  while (shown === address && !ended) {
    await wait(AGAIN);
    const answer = await fetch("/health/", { headers: { "X-Sidewise-Background": "1" } }).catch(() => null);
    const waits = document.querySelector("#waiting li");
    if (answer?.ok && !waits && shown === address) { location.reload(); return; }
  }
};

const isGone = async () => {
  if (!navigator.onLine) return true;
  return fetch("/health/", { headers: { "X-Sidewise-Background": "1" }, signal: AbortSignal.timeout(3_000) }).then(() => false, () => true);
};

document.addEventListener("click", (event) => {
  const link = event.target.closest?.("a[href*='/stage/']");
  if (!column || !link || event.defaultPrevented || event.ctrlKey || event.metaKey || event.shiftKey) return;
  const { pathname } = new URL(link.href);
  if (pathname.split("/stage/")[0] !== location.pathname.split("/stage/")[0]) return;
  if (navigator.onLine && !shown) return;
  event.preventDefault();
  isGone().then((gone) => { if (gone) open(pathname, link.textContent.trim()); else location.assign(link.href); });
});
document.addEventListener("session-ended", () => { ended = true; parts.clear(); });
if (column && document.querySelector("[data-strip]")) fetchAll();
