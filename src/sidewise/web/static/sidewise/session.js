// Blanks the page when the session has ended, also without network, so that a tablet left lying
// shows nothing. What was not sent stays in the queue and is sent after the next sign-in.

const channel = new BroadcastChannel("sidewise");
const POLL_MS = 60_000;
const SET_BACK_MS = 60_000;
const { account, idle, left, whole } = document.body.dataset;
// {at, idle, left, whole} in milliseconds, as the page came and as the server last said: without
// network there may never be a first answer.
let known = idle ? { at: Date.now(), idle: idle * 1000, left: left * 1000, whole: whole * 1000 } : null;
let lastHand = Date.now();
let blank = false;

const ended = () => {
  if (!known) return false;
  const now = Date.now();
  // A clock that was set back says nothing about how long the page has lain there.
  if (now < Math.max(known.at, lastHand) - SET_BACK_MS) return true;
  const touched = Math.max(lastHand, known.at - (known.idle - known.left));
  return now > known.at + known.whole || now - touched > known.idle;
};

const NOTHING_LOST = "Nothing is lost: what was not sent yet is kept encrypted on this device and is sent after you sign in again.";
const ANOTHER = "Somebody else has signed in on this device. What you have not sent yet is kept encrypted and is sent when you sign in again.";

export const blankPage = (why = NOTHING_LOST) => {
  if (blank) return;
  blank = true;
  const page = document.createElement("main");
  page.id = "main";
  const title = document.createElement("h1");
  title.textContent = "Your session has ended";
  const words = document.createElement("p");
  words.setAttribute("role", "alert");
  words.textContent = why;
  const link = document.createElement("a");
  link.href = `/sign-in/?next=${encodeURIComponent(location.pathname)}`;
  link.textContent = "Sign in again";
  page.append(title, words, link);
  document.body.replaceChildren(page);
  document.title = "Signed out - sidewise";
  document.dispatchEvent(new CustomEvent("session-ended"));
};

const ask = async () => {
  try {
    const answer = await fetch("/session/", { headers: { "X-Sidewise-Background": "1", Accept: "application/json" } });
    if (answer.status === 401) { blankPage(); return; }
    if (!answer.ok) return;
    const said = await answer.json();
    // A page of one person is not shown on in the session of another.
    if (account && said.account !== account) { blankPage(ANOTHER); return; }
    known = { at: Date.now(), idle: said.idle * 1000, left: said.idle_left * 1000, whole: said.whole_left * 1000 };
  } catch { /* no network: what is known counts on */ }
};

const look = () => { if (ended()) blankPage(); };

for (const kind of ["pointerdown", "keydown"]) {
  document.addEventListener(kind, () => { look(); lastHand = Date.now(); }, { capture: true, passive: true });
}
document.addEventListener("visibilitychange", () => { if (!document.hidden) { look(); ask(); } });
// A page taken out of the browser's memory may belong to a session that is over.
window.addEventListener("pageshow", (event) => { if (event.persisted) location.reload(); });
document.addEventListener("submit", (event) => {
  if (event.target.action?.endsWith("/sign-out/")) channel.postMessage("signed out");
});
channel.onmessage = () => setTimeout(ask, 500);
document.addEventListener("signed-out", () => blankPage());
document.addEventListener("htmx:responseError", (event) => { if (event.detail.xhr.status === 401) blankPage(); });

setInterval(look, 5_000);
setInterval(ask, POLL_MS);
ask();
