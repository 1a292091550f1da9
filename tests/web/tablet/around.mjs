// What stands around the tablet's own scripts: a page, the browser's storage, the network, a clock.
// Only these are imitated; everything under test is the script itself.

export const posted = [];
export const rows = new Map();
export const network = { isUp: true, session: null };
export const shown = { blank: "", lines: [], notices: [] };
export const clock = { ahead: 0 };
let number = 0;

const realNow = Date.now.bind(Date);
Date.now = () => realNow() + clock.ahead;

const element = (name = "") => ({
  name, dataset: {}, textContent: "", children: [], isConnected: true, hidden: false,
  setAttribute() {}, before() {}, after() {},
  append(...more) { this.children.push(...more); },
  replaceChildren(...more) { this.children = more; },
});
const texts = (node) => [node.textContent, ...(node.children ?? []).flatMap(texts)].filter(Boolean);

export const begin = (dataset = {}) => {
  const waiting = element("section");
  const body = Object.assign(element("body"), {
    dataset, getAttribute: () => "{}", dispatchEvent() {},
    replaceChildren(...more) { shown.blank = more.flatMap(texts).join(" | "); },
  });
  waiting.replaceChildren = (...more) => { shown.lines = more.flatMap(texts); };
  globalThis.document = Object.assign(new EventTarget(), {
    body, activeElement: null, hidden: false, createElement: element,
    getElementById: (id) => (id === "waiting" ? waiting : null), querySelector: (selector) => (selector.startsWith("meta") ? { content: '{"groups":{},"addUp":[]}' } : null),
  });
  document.addEventListener("notice", (event) => shown.notices.push(event.detail.text));
  globalThis.window = new EventTarget();
  globalThis.location = { href: "http://localhost/", pathname: "/", reload() {} };
  globalThis.navigator = { locks: { request: (_, work) => work() } };
  globalThis.setInterval = (work) => { ticks.push(work); return 0; };
  globalThis.BroadcastChannel = class { postMessage() {} };
};
export const ticks = [];
export const quiet = async () => { for (let n = 0; n < 5; n += 1) await new Promise((done) => setTimeout(done, 20)); };

const later = (request, result) => { setTimeout(() => { request.result = result; request.onsuccess?.(); }); return request; };
export const storage = { hasRoom: true };
const table = {
  getAll: () => later({}, [...rows.values()]),
  add: (row) => { number = Math.max(number, ...rows.keys()) + 1; rows.set(number, { ...row, number }); },
  delete: (which) => rows.delete(which),
};
const transaction = (_, mode) => {
  const made = { objectStore: () => table, error: new Error("QuotaExceededError") };
  const fails = mode === "readwrite" && !storage.hasRoom;
  setTimeout(() => (fails ? made.onabort?.() : made.oncomplete?.()));
  if (fails) return { ...made, objectStore: () => ({ ...table, add() {} }), set onabort(work) { setTimeout(work); }, set oncomplete(_) {}, set onerror(_) {} };
  return made;
};
globalThis.indexedDB = { open: () => later({}, { transaction }) };

export const key = Buffer.alloc(32, 7).toString("base64");
globalThis.fetch = async (address, options) => {
  if (!network.isUp) throw new TypeError("no network");
  if (address === "/session/") return { ok: true, status: 200, json: async () => network.session };
  if (address === "/queue-key/") return { status: 200, text: async () => JSON.stringify({ owner: "1", key, held: [] }) };
  const body = JSON.parse(options.body);
  posted.push({ address, entries: body.entries.map((entry) => entry.id) });
  return { status: 200, text: async () => JSON.stringify({ stored: body.entries.map((entry) => entry.id), held: [], conflicts: 0 }) };
};

export const carry = async (address, ...names) => {
  const entries = names.map((id) => ({ id, at: "2026-03-02T09:41:00Z", deed: { do: "undo", entries: [] } }));
  const event = new CustomEvent("carry", { cancelable: true, detail: { address, entries, answer: null } });
  document.dispatchEvent(event);
  try { return await event.detail.answer; } catch (error) { return { status: 0, text: String(error) }; }
};
