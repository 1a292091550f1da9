// Keeps touches when the network is gone, encrypted, and sends them in order when it is back.
//
// AES-GCM with a key that the server gives after sign-in and that lives only in this module's
// memory. On the tablet rest: a running number, the number of the account, and cipher text. Each
// entry is erased once the server has named it in its answer, not before.

import { groupOf, takesThePlace } from "./replaces.js";

const STORE = "waiting";
const RETRY_MS = 4_000;
const AT_ONCE = 50;
const TIMEOUT_MS = 8_000;
const body = document.body;
const tokens = () => JSON.parse(body.getAttribute("hx-headers"));
const say = (text, wrong = false) => document.dispatchEvent(new CustomEvent("notice", { detail: { text, wrong } }));

let key = null;
let owner = null;
let stuck = new Set();
let held = new Set();
let shown = "";

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

const post = async (address, data) => {
  const answer = await fetch(address, {
    method: "POST",
    headers: { ...tokens(), "Content-Type": "application/json", "HX-Request": "true" },
    body: JSON.stringify(data),
    redirect: "error",
    signal: AbortSignal.timeout(TIMEOUT_MS),
  });
  return { status: answer.status, text: await answer.text() };
};

const fetchKey = async () => {
  if (key || !crypto.subtle) return Boolean(key);
  try {
    const answer = await post("/queue-key/", {});
    if (answer.status !== 200) return false;
    const given = JSON.parse(answer.text);
    const bytes = Uint8Array.from(atob(given.key), (letter) => letter.charCodeAt(0));
    key = await crypto.subtle.importKey("raw", bytes, "AES-GCM", false, ["encrypt", "decrypt"]);
    bytes.fill(0);
    owner = given.owner;
    held = new Set(given.held);
    return true;
  } catch { return false; }
};

const lock = async (thing) => {
  const nonce = crypto.getRandomValues(new Uint8Array(12));
  const about = { name: "AES-GCM", iv: nonce, additionalData: new TextEncoder().encode(owner) };
  const text = new TextEncoder().encode(JSON.stringify(thing));
  return { owner, nonce, sealed: await crypto.subtle.encrypt(about, key, text) };
};
const unlock = async (row) => {
  const about = { name: "AES-GCM", iv: row.nonce, additionalData: new TextEncoder().encode(row.owner) };
  const text = await crypto.subtle.decrypt(about, key, row.sealed);
  return { number: row.number, ...JSON.parse(new TextDecoder().decode(text)) };
};

// Everything of this person that waits, oldest first.
const waiting = async () => {
  const rows = await asked((await database).transaction(STORE).objectStore(STORE).getAll());
  return Promise.all(rows.filter((row) => row.owner === owner).map(unlock));
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

const keep = async (address, entries) => {
  const earlier = (await waiting()).filter((thing) => thing.address === address).map((thing) => thing.entry);
  const rows = await Promise.all(entries.map((entry) => lock({ address, entry: stating(replacing(entry, earlier), earlier) })));
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
  if (deed.do === "state") return [deed.field.replace(/^(history|vitals)\./, "").replace(/[_.]/g, " "), [deed.value].flat().join(" and ") || "not stated"].join(": ");
  if (deed.do !== "found") return "taken back";
  const { item, side, mode, value, status } = deed.finding;
  const found = value ? Object.entries(value).filter(([name]) => name !== "kind").map(([, part]) => part).join(" ") : status;
  return [item.replaceAll("_", " "), side, mode, found].filter(Boolean).join(", ");
};

// What waits is shown as waiting: a list on the page, in words.
const show = async () => {
  let region = document.getElementById("waiting");
  const things = key ? await waiting() : [];
  if (!region) {
    region = document.createElement("section");
    region.id = "waiting";
    region.setAttribute("aria-label", "kept on this device");
    document.getElementById("main")?.before(region);
  }
  const open = undecided();
  region.hidden = !things.length && !open.length;
  // Only what changed is written again: a reader hears it once, and the focus stays on a link.
  const lines = things.map((thing) => words(thing.entry) + (stuck.has(thing.address) ? " (the server does not take it: you may no longer write there)" : ""));
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
  link.textContent = `Entries made without network wait for your decision${which}`;
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
  const answer = await post(address, { entries: things.map((thing) => thing.entry) });
  if (answer.status === 401) { document.dispatchEvent(new CustomEvent("signed-out")); return null; }
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

const carry = async ({ address, entries }) => {
  const path = new URL(address, location.href).pathname;
  if (key && (await waiting()).some((thing) => thing.address === path)) {
    await keep(path, entries);
    sendAndTell();
    return { status: 202, text: "kept on this device" };
  }
  try {
    const answer = await post(path, { entries });
    if (answer.status !== 401 && answer.status < 500) return answer;
    if (!key) return answer;
    await keep(path, entries);
    if (answer.status === 401) document.dispatchEvent(new CustomEvent("signed-out"));
  } catch (error) {
    if (!key) throw error;
    await keep(path, entries);
  }
  return { status: 202, text: "kept on this device until the network is back" };
};

// Kept without a try to send it: whoever asks has tried. False where nothing can be kept.
const hold = async ({ address, entries }) => {
  if (!key) return false;
  try { await keep(address, entries); } catch { return false; }
  return true;
};

document.addEventListener("keep", (event) => {
  event.preventDefault();
  event.detail.answer = hold(event.detail);
});
document.addEventListener("carry", (event) => {
  event.preventDefault();
  event.detail.answer = carry(event.detail);
});
// The key dies with the page; blanking the page must not leave it behind.
document.addEventListener("session-ended", () => { key = null; });
window.addEventListener("online", sendAndTell);
setInterval(sendAndTell, RETRY_MS);
navigator.serviceWorker?.register("/offline.js").catch(() => {});
if (!crypto.subtle) say("Without https nothing can be kept on this device while the network is gone.", true);
sendAndTell();
