// Sends a form of several fields as it is, and loses none of it where no answer comes.
//
// Whoever uses it says what happens then. The queue keeps what must wait: it listens for the "keep"
// event on document, calls preventDefault() and sets event.detail.answer to a promise of whether
// it is kept.

const TIMEOUT_MS = 8_000;

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

// The column of the page as the server wrote it, and the focus on what it begins with, or on what is wrong.
const show = (text, at) => {
  const page = new DOMParser().parseFromString(text, "text/html");
  const column = document.querySelector(".mirror-column");
  column.replaceChildren(...page.querySelector(".mirror-column").childNodes);
  htmx.process(column);
  document.title = page.title;
  const head = column.querySelector(at) ?? column.querySelector("h1");
  head.tabIndex = -1;
  head.classList.remove("away");
  head.focus();
};

/** A sentence to stand where a form stood or under it. */
export const message = (words, wrong) => {
  const said = document.createElement("p");
  said.setAttribute("role", wrong ? "alert" : "status");
  said.className = wrong ? "error" : "caution";
  said.dataset.said = "";
  said.textContent = words;
  return said;
};
/** Says a sentence under a form, in the place of the one before. */
export const tell = (form, words, wrong = true) => {
  form.parentElement.querySelector("[data-said]")?.remove();
  form.after(message(words, wrong));
};

/** The id of what a form makes: sent twice it counts once. */
export const freshId = () => crypto.randomUUID?.().replaceAll("-", "");

/** Gives one entry to the queue; whether it is kept there. */
export const keep = async (address, id, deed) => {
  const entry = { id, at: new Date().toISOString(), deed };
  const detail = { address, entries: [entry], answer: null };
  const kept = document.dispatchEvent(new CustomEvent("keep", { cancelable: true, detail }));
  return !kept && await detail.answer;
};

const send = async (form, button, { lost, at }) => {
  let answer, text;
  try {
    answer = await post(form, button);
    text = await answer.text();
  } catch { await lost(form); return; }
  const go = answer.headers.get("HX-Redirect");
  if (answer.status === 401) await lost(form, true);
  else if (answer.status >= 500) await lost(form);
  else if (go) goTo(go);
  else if (answer.status === 200 || answer.status === 422) show(text, at);
  else tell(form, `Nothing was recorded: the server answered ${answer.status}.`);
};

/** Takes over the forms that fit; `lost` is told a form without an answer, and whether it was signed out. */
export const takeOver = (selector, how) => document.addEventListener("submit", async (event) => {
  const form = event.target;
  if (!form.matches(selector)) return;
  event.preventDefault();
  if (form.getAttribute("aria-busy") === "true") return;
  form.setAttribute("aria-busy", "true");
  try { await send(form, event.submitter, how); } finally { form.removeAttribute("aria-busy"); }
});
