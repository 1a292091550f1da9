// Says when another device has recorded something in the examination that lies open here, and shows
// it: a conflict is seen on both devices, not on the second alone.

const EVERY_MS = 8_000;
const address = location.pathname.match(/^\/examinations\/[^/]+\//)?.[0];
let own = new Set();
let seen = NaN;
let ended = false;

document.addEventListener("session-ended", () => { ended = true; });

const isTyping = () => {
  const field = document.activeElement;
  return Boolean(field?.matches?.("input:not([type=hidden]), textarea, select") && field.value && field.value !== field.defaultValue);
};

const look = async () => {
  if (ended || document.hidden || Number.isNaN(seen)) return;
  try {
    const answer = await fetch(`${address}since/?length=${seen}`, { headers: { "X-Sidewise-Background": "1" }, redirect: "error" });
    if (!answer.ok) return;
    const { length, entries } = await answer.json();
    const others = entries.filter((id) => !own.has(id));
    if (!others.length) { seen = length; return; }
    if (isTyping() || document.querySelector("#waiting li")) return;
    document.dispatchEvent(new CustomEvent("notice", { detail: { text: "another device recorded here: shown now" } }));
    location.reload();
  } catch { /* no network: the next look comes by itself */ }
};

/** Looks from now on for entries after the first `length` that are not among `ours`. */
export const watch = (length, ours) => {
  own = ours;
  if (address && Number.isNaN(seen)) setInterval(look, EVERY_MS);
  seen = length;
};
