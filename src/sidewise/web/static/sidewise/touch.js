// Sends each touch as one append-only entry, and shows that it was saved or that it was not.
//
// A form marked data-touch works without this as well. Here its fields become entries
// {id, at, deed}; the answer holds the pieces of the page that changed.
// A queue may take over the carrying: it listens for the "carry" event on document, calls
// preventDefault() and sets event.detail.answer to a promise of {status, text}.

import { groupOf, takesThePlace } from "./replaces.js";
import { next, reopen } from "./rows.js";
import { isStatement, statements } from "./statements.js";

const notice = (text, wrong = false) =>
  document.dispatchEvent(new CustomEvent("notice", { detail: { text, wrong } }));

const replaced = (finding, holds) => Object.entries(holds)
  .filter(([, held]) => takesThePlace(groupOf(finding), held))
  .map(([id]) => id);

const withoutEmpty = (value) =>
  Object.fromEntries(Object.entries(value).filter(([, part]) => part !== null && part !== ""));

const fieldsOf = (data, kind) => {
  const value = { kind };
  for (const [name, text] of data) {
    if (name.startsWith(`${kind}.`) && text.trim()) value[name.slice(kind.length + 1)] = text.trim();
  }
  return value;
};

const foundIn = (data, button) => {
  if (button?.name === "value") return { value: withoutEmpty(JSON.parse(button.value)) };
  if (button?.name === "kind") return { value: fieldsOf(data, button.value) };
  const reason = (data.get("reason") ?? "").trim();
  return { status: button?.value ?? "not examined", reason: reason || null };
};

const findingsOf = (form, button) => {
  const data = new FormData(form);
  if (data.get("findings")) return JSON.parse(data.get("findings"));
  const note = (data.get("note") ?? "").trim();
  const found = { status: "examined", ...foundIn(data, button), ...(note && { note }) };
  return data.get("places").split(";").map((place) => {
    const [item, side, mode] = place.split(" ");
    return { item, side, mode: mode ?? null, ...found };
  });
};

// What was typed at another place of the row and not recorded yet goes with this one: the answer
// brings the row anew, and it would be lost. One undo takes both back.
const isTyped = (field) => field.matches("input[inputmode], textarea") ? field.value.trim() && field.value !== field.defaultValue
  : field.matches("select[data-typed]") && field.value && !field.selectedOptions[0].defaultSelected;
const typedBeside = (form) => {
  const row = form.closest("[data-row]");
  if (!row || !form.matches(".number")) return [];
  const seen = new Set([form.elements.places?.value]);
  return [...row.querySelectorAll("form.number[data-touch]")].flatMap((other) => {
    const place = other.elements.places?.value;
    if (seen.has(place) || ![...other.elements].some(isTyped)) return [];
    seen.add(place);
    return [[other, other.querySelector("button.record")]];
  });
};

// randomUUID exists only on a secure origin; a tablet may reach a laptop over plain http.
const fresh = () => crypto.randomUUID?.() ??
  Array.from(crypto.getRandomValues(new Uint8Array(16)), (byte) => byte.toString(16).padStart(2, "0")).join("");

export const entriesOf = (form, button) => {
  const at = new Date().toISOString();
  const touch = fresh();
  if (isStatement(form)) return statements(form, button, touch, at);
  const undo = form.elements.undo?.value;
  if (undo) return [{ id: touch, at, deed: { do: "undo", entries: undo.split(" ") } }];
  const deeds = [[form, button], ...typedBeside(form)].flatMap(([one, pressed]) => {
    const holds = JSON.parse(one.elements.holds?.value ?? "{}");
    return findingsOf(one, pressed).map((finding) => ({ do: "found", finding, replaces: replaced(finding, holds) }));
  });
  return deeds.map((deed, number) => ({ id: `${touch}.${number}`, at, deed }));
};

const post = async (address, entries) => {
  const headers = JSON.parse(document.body.getAttribute("hx-headers"));
  const answer = await fetch(address, {
    method: "POST",
    headers: { ...headers, "Content-Type": "application/json", "HX-Request": "true" },
    body: JSON.stringify({ entries }),
    redirect: "error",
  });
  return { status: answer.status, text: await answer.text() };
};

const carry = (address, entries) => {
  const event = new CustomEvent("carry", { cancelable: true, detail: { address, entries, answer: null } });
  return document.dispatchEvent(event) ? post(address, entries) : event.detail.answer;
};

// Focus stays where the hand is: on the same button of the new row, else on what comes next.
let hand = null;
let byKey = false;
for (const kind of ["keydown", "pointerdown"]) document.addEventListener(kind, () => { byKey = kind === "keydown"; }, true);
const remember = (form, button) => {
  const places = form.elements.places?.value ?? form.elements.state?.value;
  const row = form.closest("[data-row]");
  const at = row ?? form.closest(".stage-foot, .group-head, .none-of-these");
  hand = { places, label: button?.textContent, at: at?.id, form: form.id, singly: !row || "singly" in row.dataset };
};
const restoreFocus = () => {
  if (!hand || (document.activeElement && document.activeElement !== document.body)) return;
  const forms = [...document.querySelectorAll("form[data-touch]")];
  const at = (form) => form.elements.places?.value ?? form.elements.state?.value;
  const same = forms.filter((form) => hand.places && at(form) === hand.places)
    .flatMap((form) => [...form.querySelectorAll("button")])
    .find((button) => button.textContent === hand.label);
  const target = same ?? document.getElementById(hand.form)?.querySelector("button") ?? next(document.getElementById(hand.at), hand.singly);
  // The page moves under nobody's finger: only who goes by keyboard is taken there.
  target?.focus({ preventScroll: !byKey });
};

// An answer brings rows that this page may not have, such as that of the figure.
const fitting = (text) => {
  const pieces = document.createElement("template");
  pieces.innerHTML = text;
  for (const piece of pieces.content.querySelectorAll("[hx-swap-oob][id]")) {
    if (!document.getElementById(piece.id)) piece.remove();
  }
  return pieces.innerHTML;
};

// What the bar says of raised flags: it stays in sight, and what is new in it is said aloud.
const raised = () => [...document.querySelectorAll("[data-alarm] b")].map((flag) =>
  `${flag.textContent.trim()} ${(flag.nextSibling?.textContent ?? "").replace(/;\s*$/, "").trim()}`);

const show = (form, answer, entries) => {
  if (answer.status === 200) {
    const before = new Set(raised());
    htmx.swap(document.body, fitting(answer.text), { swapStyle: "none" });
    reopen();
    restoreFocus();
    const fresh = raised().filter((flag) => !before.has(flag));
    const done = entries[0].deed.do === "undo" ? "taken back" : "saved";
    notice([done, ...fresh].join("\n"), fresh.length > 0);
    document.body.dispatchEvent(new CustomEvent("touched"));
    return;
  }
  if (answer.status === 202) { notice(answer.text); return; }
  const words = [422, 507].includes(answer.status) ? answer.text.trim()
    : answer.status === 403 ? "Not saved: you may read these records but not change them."
      : answer.status === 401 ? "Not saved: you are signed out. Sign in again in another tab, then try again."
      : answer.status >= 500 ? `Not confirmed: the server answered ${answer.status}. It may not have been recorded; open the page again, then see.`
      : `Not saved: the server answered ${answer.status}. Try again.`;
  const row = form.closest("[data-row]");
  const own = entries.length > 1 && row ? null : form.querySelector("[data-error]");
  const place = form.isConnected ? own ?? row?.querySelector(".item [data-error]") ?? row?.querySelector("[data-error]") : null;
  if (place) place.textContent = words;
  notice(words, true);
};

// One after the other, so that a later touch never overtakes an earlier one.
let line = Promise.resolve();
const send = (form, button) => {
  const row = form.closest("[data-row]") ?? form;
  const address = form.action.replace(/(record|history\/answer|history\/vitals|about|care)\/$/, "touch/");
  let entries;
  try { entries = entriesOf(form, button); } catch { form.submit(); return; }
  if (!entries.length) { notice("nothing was changed"); return; }
  remember(form, button);
  row.setAttribute("aria-busy", "true");
  for (const old of row.querySelectorAll("[data-error]")) old.textContent = "";
  line = line.then(async () => {
    try { show(form, await carry(address, entries), entries); } catch {
      notice("Not confirmed: there is no network connection. It may not have been recorded; open the page again when the network is back, then see.", true);
    } finally { row.removeAttribute("aria-busy"); }
  });
};

document.addEventListener("submit", (event) => {
  if (!event.target.matches("form[data-touch]")) return;
  event.preventDefault();
  send(event.target, event.submitter);
});

// A key held down must not record a row after row.
document.addEventListener("keydown", (event) => {
  if (event.repeat && ["Enter", " "].includes(event.key) && event.target.closest?.("form[data-touch]")) event.preventDefault();
});

// A panel that opens takes the focus, so that keyboard and screen reader arrive in it.
document.addEventListener("htmx:afterSwap", (event) => {
  const asked = event.detail.requestConfig?.elt;
  if (!asked?.hasAttribute("data-moves")) return;
  const target = event.detail.target.isConnected ? event.detail.target : document.getElementById(event.detail.target.id);
  const first = target?.querySelector("button:not([hidden]), input:not([type=hidden]), a[href], select");
  first?.focus();
});
