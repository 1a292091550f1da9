// Keeps touches when the network is gone, encrypted, and sends them in order when it is back.
//
// AES-GCM with a key that the server gives after sign-in and that lives only in this module's
// memory. On the tablet rest: a running number, the number of the account, and cipher text. Each
// entry is erased once the server has named it in its answer, not before.

import { groupOf, takesThePlace } from "./replaces.js";

const STORE = "waiting";
const RETRY_MS = 4_000;
const AT_ONCE = 50;
// After this what a page does not need at once is fetched, in case the network goes.
const AT_REST_MS = 10_000;
const TIMEOUT_MS = 8_000;
const body = document.body;
const tokens = () => JSON.parse(body.getAttribute("hx-headers"));
const say = (text, wrong = false) => document.dispatchEvent(new CustomEvent("notice", { detail: { text, wrong } }));

let key = null;
let owner = null;
// Once the page is blank it asks for no key again, and lists nothing.
let ended = false;
let stuck = new Set();
let held = new Set();
let shown = "";
let markRows = null;
// Entries that a hand made on this page, to tell them from those of another device.
const ours = new Set();
const lengthAtFirst = Number(document.getElementById("head")?.dataset.length ?? NaN);
// Rows of this person that cannot be opened, by number: they are set aside, and the others go on.
const aside = new Map();

const asked = (request) => new Promise((resolve, reject) => {
  request.onsuccess = () => resolve(request.result);
  request.onerror = () => reject(request.error);
});
const database = new Promise((resolve, reject) => {
  const opening = indexedDB.open("sidewise", 1);
  opening.onupgradeneeded = () => opening.result.createObjectStore(STORE, { keyPath: "number", autoIncrement: true });
  opening.onsuccess = () => resolve(opening.result);
  opening.onerror = () => reject(opening.error);
});
const kept = (transaction) => new Promise((resolve, reject) => {
  transaction.oncomplete = () => resolve();
  transaction.onabort = transaction.onerror = () => reject(transaction.error);
});

// What no hand asked for does not prolong the session: a page left lying must still blank.
const BACKGROUND = { "X-Sidewise-Background": "1" };
const post = async (address, data, more = {}) => {
  const answer = await fetch(address, {
    method: "POST",
    headers: { ...tokens(), ...more, "Content-Type": "application/json", "HX-Request": "true" },
    body: JSON.stringify(data),
    redirect: "error",
    signal: AbortSignal.timeout(TIMEOUT_MS),
  });
  return { status: answer.status, text: await answer.text() };
};

const signedOut = () => document.dispatchEvent(new CustomEvent("signed-out"));

const fetchKey = async () => {
  if (key || ended || !crypto.subtle) return Boolean(key);
  try {
    const answer = await post("/queue-key/", {}, BACKGROUND);
    if (answer.status === 401) signedOut();
    if (answer.status !== 200 || ended) return false;
    const given = JSON.parse(answer.text);
    const bytes = Uint8Array.from(atob(given.key), (letter) => letter.charCodeAt(0));
    const opens = await crypto.subtle.importKey("raw", bytes, "AES-GCM", false, ["encrypt", "decrypt"]);
    bytes.fill(0);
    if (ended) return false;
    key = opens;
    owner = given.owner;
    held = new Set(given.held);
    return true;
  } catch { return false; }
};

const lock = async (thing, secret) => {
  const nonce = crypto.getRandomValues(new Uint8Array(12));
  const about = { name: "AES-GCM", iv: nonce, additionalData: new TextEncoder().encode(owner) };
  const text = new TextEncoder().encode(JSON.stringify(thing));
  return { owner, nonce, sealed: await crypto.subtle.encrypt(about, secret, text) };
};
const unlock = async (row, secret) => {
  const about = { name: "AES-GCM", iv: row.nonce, additionalData: new TextEncoder().encode(row.owner) };
  const text = await crypto.subtle.decrypt(about, secret, row.sealed);
  return { number: row.number, ...JSON.parse(new TextDecoder().decode(text)) };
};

const opened = async (row, secret) => {
  try {
    const thing = await unlock(row, secret);
    aside.delete(row.number);
    return [thing];
  } catch {
    aside.set(row.number, "it cannot be opened with the key of your account: it was damaged here, or kept under another key");
    return [];
  }
};

const rowsOf = async (account) => {
  const rows = await asked((await database).transaction(STORE).objectStore(STORE).getAll());
  return rows.filter((row) => row.owner === account);
};
// Everything of this person that waits and can be opened, oldest first.
const waiting = async (secret = key) => {
  if (!secret) return [];
  const rows = await rowsOf(owner);
  return (await Promise.all(rows.map((row) => opened(row, secret)))).flat();
};

const place = ({ deed: { finding } }) => JSON.stringify([finding.item, finding.side, finding.mode ?? null, finding.repeat ?? 1]);

// A second touch at the same place, made before the first was sent, takes the place of it.
const replacing = (entry, earlier) => {
  if (entry.deed.do !== "found") return entry;
  const mine = groupOf(entry.deed.finding);
  const replaced = earlier
    .filter((other) => other.deed.do === "found" && place(other) === place(entry))
    .filter((other) => takesThePlace(mine, groupOf(other.deed.finding)))
    .map((other) => other.id);
  return { ...entry, deed: { ...entry.deed, replaces: [...new Set([...entry.deed.replaces, ...replaced])] } };
};

// The same for a field of the context, such as an answer.
const stating = (entry, earlier) => {
  if (entry.deed.do !== "state") return entry;
  const replaced = earlier
    .filter((other) => other.deed.do === "state" && other.deed.field === entry.deed.field)
    .map((other) => other.id);
  return { ...entry, deed: { ...entry.deed, replaces: [...new Set([...entry.deed.replaces, ...replaced])] } };
};

// With the key that was there when the hand touched: the page may go blank meanwhile.
const keep = async (address, entries, secret) => {
  const earlier = (await waiting(secret)).filter((thing) => thing.address === address).map((thing) => thing.entry);
  const rows = await Promise.all(entries.map((entry) => lock({ address, entry: stating(replacing(entry, earlier), earlier) }, secret)));
  const transaction = (await database).transaction(STORE, "readwrite", { durability: "strict" });
  for (const row of rows) transaction.objectStore(STORE).add(row);
  await kept(transaction);
  await show();
};

const forget = async (numbers) => {
  const transaction = (await database).transaction(STORE, "readwrite", { durability: "strict" });
  for (const number of numbers) transaction.objectStore(STORE).delete(number);
  await kept(transaction);
};

const words = ({ deed }) => {
  if (deed.do === "line") return `typed, not read yet: ${deed.text}`;
  if (deed.do === "form") return `${deed.kind}: ${deed.fields.map(([, text]) => text.trim()).filter(Boolean).join(", ")}`;
  if (deed.do === "state") return [deed.field.replace(/^(history|vitals|scales)\./, "").replace(/[_.]/g, " "), [deed.value].flat().join(" and ") || "not stated"].join(": ");
  if (deed.do !== "found") return "taken back";
  const { item, side, mode, value, status } = deed.finding;
  const found = value ? Object.entries(value).filter(([name]) => name !== "kind").map(([, part]) => part).join(" ") : status;
  return [item.replaceAll("_", " "), side, mode, found].filter(Boolean).join(", ");
};

// What waits is shown as waiting: a list on the page, in words.
const show = async () => {
  const things = await waiting();
  const closed = key ? 0 : await closedRows();
  if (ended) return;
  const here = location.pathname.match(/^\/examinations\/[^/]+\//)?.[0];
  markRows?.(things.filter((thing) => here && thing.address.startsWith(here)).map((thing) => thing.entry));
  let region = document.getElementById("waiting");
  if (!region) {
    region = document.createElement("section");
    region.id = "waiting";
    region.setAttribute("aria-label", "kept on this device");
    document.getElementById("main")?.before(region);
  }
  const open = undecided();
  region.hidden = !things.length && !open.length && !aside.size && !closed;
  // Only what changed is written again: a reader hears it once, and the focus stays on a link.
  const lines = things.map((thing) => words(thing.entry) + (stuck.has(thing.address) ? " (the server does not take it: you may no longer write there)" : ""));
  for (const [number, why] of aside) lines.push(`entry ${number} is set aside: ${why}. Enter it again; the others are not held up.`);
  if (closed) lines.push(`${closed} of your entries ${closed === 1 ? "is" : "are"} kept on this device, encrypted. They are opened and sent once the server gives your key; if that does not happen, tell whoever runs it.`);
  const now = JSON.stringify([lines, open]);
  if (region.isConnected && now === shown) return;
  shown = now;
  const head = document.createElement("p");
  head.setAttribute("role", "status");
  head.textContent = things.length ? `${things.length} ${things.length === 1 ? "entry is" : "entries are"} kept on this device and not sent yet.` : "";
  const list = document.createElement("ul");
  for (const text of lines) {
    const line = document.createElement("li");
    line.textContent = text;
    list.append(line);
  }
  region.replaceChildren(head, list, ...open.map(decide));
};

// How many wait for this person that cannot be opened, because the server has not given the key.
const closedRows = async () => {
  try { return (await rowsOf(body.dataset.account)).length; } catch { return 0; }
};

// What the server could not add by itself waits there until this person has decided. Before one
// patient only what is theirs is shown.
const undecided = () => {
  const here = location.pathname.match(/^\/examinations\/([^/]+)\//)?.[1];
  return [...held].filter((examination) => !here || examination === here);
};
const decide = (examination, number, all) => {
  const place = document.createElement("p");
  const link = document.createElement("a");
  link.href = `/examinations/${examination}/held/`;
  const which = all.length > 1 ? `, examination ${number + 1} of ${all.length}` : "";
  link.textContent = `Entries made offline are waiting for your decision${which}`;
  place.append(link);
  return place;
};

const next = async () => {
  const things = (await waiting()).filter((thing) => !stuck.has(thing.address));
  const first = things[0]?.address;
  const upTo = things.findIndex((thing) => thing.address !== first);
  return things.slice(0, upTo < 0 ? AT_ONCE : Math.min(upTo, AT_ONCE));
};

const sendSome = async (things) => {
  const address = things[0].address.replace(/(touch|line)\/$/, "queue/");
  const answer = await post(address, { entries: things.map((thing) => thing.entry) }, BACKGROUND);
  if (answer.status === 401) { signedOut(); return null; }
  if (answer.status >= 500) throw new Error("not now");
  if (answer.status !== 200) { stuck.add(things[0].address); return { stored: 0 }; }
  const taken = JSON.parse(answer.text);
  const named = new Set([...taken.stored, ...taken.held]);
  await forget(things.filter((thing) => named.has(thing.entry.id)).map((thing) => thing.number));
  if (taken.held.length) held.add(address.split("/")[2]);
  return { stored: taken.stored.length };
};

// One sender for all tabs, or two tabs would send side by side and out of order.
const send = () => navigator.locks.request("sidewise queue", async () => {
  const sent = { stored: 0 };
  try {
    for (let things = await next(); things.length; things = await next()) {
      const done = await sendSome(things);
      if (!done) return sent;
      sent.stored += done.stored;
    }
  } catch { /* still no network: the next try comes by itself */ }
  await show();
  return sent;
});

const sendAndTell = async () => {
  if (!(await fetchKey()) || !(await next()).length) { await show(); return; }
  const { stored } = await send();
  if (stored) refresh(stored);
};

const refresh = (stored) => {
  say(`sent: ${stored}`);
  const typing = document.activeElement?.matches?.("input[type=text], input:not([type]), textarea") && document.activeElement.value;
  if (location.pathname.startsWith("/examinations/") && !typing) location.reload();
};

const NO_ROOM = { status: 507, text: "Not confirmed: no answer came, and this device has no room or no right to keep it. Note it on paper; when the network is back, see whether it was recorded." };
const keptHere = async (path, entries, text, secret) => {
  try { await keep(path, entries, secret); } catch { return NO_ROOM; }
  return { status: 202, text };
};

// What waits here before it: nothing where the store of the device cannot be read at all.
const waitsBefore = async (path, secret) => {
  try { return (await waiting(secret)).some((thing) => thing.address === path); } catch { return false; }
};

const carry = async ({ address, entries }) => {
  const path = new URL(address, location.href).pathname;
  const secret = key;
  if (secret && await waitsBefore(path, secret)) {
    const answer = await keptHere(path, entries, "kept on this device", secret);
    sendAndTell();
    return answer;
  }
  let answer = null;
  try {
    answer = await post(path, { entries });
    if (answer.status !== 401 && answer.status < 500) return answer;
    if (!(secret ?? key)) return answer;
  } catch (error) {
    if (!(secret ?? key)) throw error;
  }
  const saved = await keptHere(path, entries, "kept on this device until the network is back", secret ?? key);
  if (answer?.status === 401) signedOut();
  return saved;
};

// Kept without a try to send it: whoever asks has tried. False where nothing can be kept.
const hold = async ({ address, entries }) => {
  const secret = key;
  if (!secret) return false;
  try { await keep(address, entries, secret); } catch { return false; }
  return true;
};

document.addEventListener("keep", (event) => {
  event.preventDefault();
  event.detail.answer = hold(event.detail);
});
document.addEventListener("carry", (event) => {
  event.preventDefault();
  event.detail.entries.forEach(({ id }) => ours.add(id));
  event.detail.answer = carry(event.detail);
});
// The key dies with the page; blanking the page must not leave it behind.
document.addEventListener("session-ended", () => { key = null; ended = true; });
window.addEventListener("online", sendAndTell);
setInterval(sendAndTell, RETRY_MS);
const UNTRUSTED = "This device does not trust the certificate of these pages: no page can be opened again while there is no network connection. What you enter on an open page is still kept.";
navigator.serviceWorker?.register("/offline.js").catch(() => say(UNTRUSTED, true));
if (!crypto.subtle) say("Without https nothing can be stored on this device while there is no network connection.", true);
sendAndTell();

const atRest = async () => {
  const [waits, since] = await Promise.all([import("./waits.js"), import("./since.js")]);
  markRows = waits.markRows;
  await show();
  since.watch(lengthAtFirst, ours);
  if (location.pathname.includes("/stage/")) await import("./stages.js");
};
if (location.pathname.startsWith("/examinations/")) setTimeout(() => atRest().catch(() => {}), AT_REST_MS);
document.addEventListener("at-rest", () => atRest().catch(() => {}));
