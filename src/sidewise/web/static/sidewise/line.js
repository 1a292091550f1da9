// Has a typed line read, and loses none: what cannot reach the server is kept on the device,
// encrypted, and waits at the server for a person as soon as the network is back. Nothing of a line
// is recorded before somebody has seen what was read in it.
//
// A form marked data-line works without this as well. The queue keeps the line: it listens for the
// "keep" event on document, calls preventDefault() and sets event.detail.answer to a promise of
// whether it is kept.

const TIMEOUT_MS = 8_000;
const KEPT = "Not read yet: the network is lost. The line is kept on this device, encrypted. When the network is back it goes to the server by itself; then you see what was read and record it.";
const STAYS = "Not read: there is no network connection, and nothing can be stored on this device. The line stays here; try again when the network is back.";
const WAITS = "Nothing was recorded: there is no network connection. The line is still waiting at the server.";
const SIGNED_OUT = "Not read: you are signed out. The line stays here; sign in again in another tab, then try again.";

const post = (form, button) => {
  const data = new FormData(form);
  if (button?.name) data.append(button.name, button.value);
  const headers = { ...JSON.parse(document.body.getAttribute("hx-headers")), "HX-Request": "true" };
  return fetch(form.action, { method: "POST", body: data, headers, redirect: "error", signal: AbortSignal.timeout(TIMEOUT_MS) });
};

const goTo = (address) => {
  const there = new URL(address, location.href);
  const same = there.pathname === location.pathname && there.search === location.search;
  location.assign(there);
  // A new place on the same page loads nothing by itself.
  if (same) location.reload();
};

// The column of the page as the server wrote it, and the focus on what it begins with.
const show = (text) => {
  const page = new DOMParser().parseFromString(text, "text/html");
  const column = document.querySelector(".mirror-column");
  column.replaceChildren(...page.querySelector(".mirror-column").childNodes);
  htmx.process(column);
  document.title = page.title;
  const head = column.querySelector("h1");
  head.tabIndex = -1;
  head.classList.remove("away");
  head.focus();
};

const message = (words, wrong) => {
  const said = document.createElement("p");
  said.setAttribute("role", wrong ? "alert" : "status");
  said.className = wrong ? "error" : "caution";
  said.dataset.said = "";
  said.textContent = words;
  return said;
};
const tell = (form, words, wrong = true) => {
  form.parentElement.querySelector("[data-said]")?.remove();
  form.after(message(words, wrong));
};

// Whether the line is safe: kept by the queue, or still waiting at the server where it came from.
const keep = async (form) => {
  const id = form.elements.touch?.value ?? crypto.randomUUID?.().replaceAll("-", "");
  const entry = { id, at: new Date().toISOString(), deed: { do: "line", text: form.elements.text.value.trim() } };
  const detail = { address: new URL(form.action).pathname, entries: [entry], answer: null };
  const kept = document.dispatchEvent(new CustomEvent("keep", { cancelable: true, detail }));
  return !kept && await detail.answer;
};

const putAway = (form, words) => {
  if (form.querySelector("textarea")) {
    form.elements.text.value = "";
    tell(form, words, false);
  } else {
    // Confirmed once more it could be recorded twice: the line is on its way another way now.
    form.replaceWith(message(words, false));
  }
};

const lost = async (form, words, signedOut = false) => {
  if (form.elements.held) { tell(form, WAITS); return; }
  if (!(await keep(form))) { tell(form, words); return; }
  putAway(form, KEPT);
  if (signedOut) document.dispatchEvent(new CustomEvent("signed-out"));
};

const send = async (form, button) => {
  let answer, text;
  try {
    answer = await post(form, button);
    text = await answer.text();
  } catch { await lost(form, STAYS); return; }
  const go = answer.headers.get("HX-Redirect");
  if (answer.status === 401) await lost(form, SIGNED_OUT, true);
  else if (answer.status >= 500) await lost(form, STAYS);
  else if (go) goTo(go);
  else if (answer.status === 200 || answer.status === 422) show(text);
  else tell(form, `Nothing was recorded: the server answered ${answer.status}.`);
};

document.addEventListener("submit", async (event) => {
  const form = event.target;
  if (!form.matches("form[data-line]")) return;
  event.preventDefault();
  if (form.getAttribute("aria-busy") === "true") return;
  form.setAttribute("aria-busy", "true");
  try { await send(form, event.submitter); } finally { form.removeAttribute("aria-busy"); }
});
