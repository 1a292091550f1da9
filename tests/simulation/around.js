// What a browser puts around a page's scripts, as far as they use it; what lies outside of a page
// (time, network, the device's storage, other tabs) is asked of `host` and comes back by `settle`.

const asked = new Map();
const timers = new Map();
let count = 0;
const bytesOf = (hex) => Uint8Array.from(hex.match(/../g) ?? [], (pair) => parseInt(pair, 16));
const hexOf = (bytes) => Array.from(new Uint8Array(bytes), (byte) => byte.toString(16).padStart(2, "0")).join("");
const ask = (name, ...values) => new Promise((resolve, reject) => {
  count += 1;
  asked.set(count, [resolve, reject]);
  host(name, count, JSON.stringify(values));
});
const tell = (name, ...values) => host(name, 0, JSON.stringify(values));
globalThis.settle = (number, isGood, text) => {
  const pair = asked.get(number);
  asked.delete(number);
  if (pair) isGood ? pair[0](JSON.parse(text)) : pair[1](new Error(text));
};
globalThis.fire = (number) => { timers.get(number)?.(); };

globalThis.window = globalThis;
Date.now = () => Number(host("now", 0, "[]"));
const timer = (work, wait, again) => {
  count += 1;
  const number = count;
  timers.set(number, again ? work : () => { timers.delete(number); work(); });
  host("timer", number, JSON.stringify([wait ?? 0, again]));
  return number;
};
globalThis.setTimeout = (work, wait) => timer(work, wait, false);
globalThis.setInterval = (work, wait) => timer(work, wait, true);
globalThis.clearTimeout = globalThis.clearInterval = (number) => timers.delete(number);

globalThis.TextEncoder = class {
  encode(text) { return Uint8Array.from(unescape(encodeURIComponent(text)), (letter) => letter.charCodeAt(0)); }
};
globalThis.TextDecoder = class {
  decode(bytes) { return decodeURIComponent(escape(String.fromCharCode(...new Uint8Array(bytes)))); }
};
globalThis.URL = class {
  constructor(address) { this.pathname = address.replace(/^https?:\/\/[^/]+/, "").replace(/[?#].*/, ""); }
};
const uses = (algorithm, data) => [hexOf(algorithm.iv), hexOf(algorithm.additionalData), hexOf(data)];
globalThis.crypto = {
  getRandomValues: (array) => { array.set(bytesOf(host("random", 0, `[${array.length}]`))); return array; },
  subtle: {
    importKey: async (form, bytes) => hexOf(bytes),
    encrypt: async (algorithm, key, data) => bytesOf(await ask("encrypt", key, ...uses(algorithm, data))).buffer,
    decrypt: async (algorithm, key, data) => bytesOf(await ask("decrypt", key, ...uses(algorithm, data))).buffer,
  },
};

const rowOf = ({ number, owner, nonce, sealed }) => ({ number, owner, nonce: bytesOf(nonce), sealed: bytesOf(sealed).buffer });
const database = {
  createObjectStore() {},
  transaction(store, mode) {
    const deeds = [];
    const transaction = { objectStore: () => ({
      add: ({ owner, nonce, sealed }) => deeds.push({ owner, nonce: hexOf(nonce), sealed: hexOf(sealed) }),
      delete: (number) => deeds.push(number),
      getAll: () => {
        const request = {};
        ask("rows").then(
          (rows) => { request.result = rows.map(rowOf); request.onsuccess(); },
          (error) => { request.error = error; request.onerror(); },
        );
        return request;
      },
    }) };
    // The deeds are named before the transaction is left; then they are all done or none.
    if (mode === "readwrite") queueMicrotask(() => ask("commit", deeds).then(
      () => transaction.oncomplete(),
      (error) => { transaction.error = error; transaction.onabort(); },
    ));
    return transaction;
  },
};
globalThis.indexedDB = { open() {
  const opening = { result: database };
  ask("open").then(() => { opening.onupgradeneeded(); opening.onsuccess(); });
  return opening;
} };

globalThis.AbortSignal = { timeout: (wait) => ({ wait }) };
globalThis.fetch = (address, { method = "GET", headers = {}, body = "", signal } = {}) => {
  const answer = ask("fetch", address, method, headers, body).then(({ status, text }) => ({
    status, ok: status >= 200 && status < 300, text: async () => text, json: async () => JSON.parse(text),
  }));
  if (!signal) return answer;
  return Promise.race([answer, new Promise((_, reject) => setTimeout(() => reject(new Error("too long")), signal.wait))]);
};

class Target {
  #heard = [];
  addEventListener(kind, work) { this.#heard.push([kind, work]); }
  dispatchEvent(event) {
    for (const [kind, work] of this.#heard) if (kind === event.type) work(event);
    return !event.defaultPrevented;
  }
}
globalThis.CustomEvent = class {
  constructor(type, { detail = null, cancelable = false } = {}) { Object.assign(this, { type, detail, cancelable, defaultPrevented: false }); }
  preventDefault() { this.defaultPrevented = this.cancelable; }
};
class Element extends Target {
  constructor() { super(); this.parts = []; this.words = ""; this.isConnected = false; }
  set textContent(text) { this.words = text; this.parts = []; }
  get textContent() { return this.words + this.parts.map((part) => part.textContent).join(" "); }
  setAttribute() {}
  append(...parts) { this.parts.push(...parts); }
  replaceChildren(...parts) { this.parts = parts; }
}
const place = { waiting: null, isBlank: false };
class Main extends Element { before(region) { region.isConnected = true; place.waiting = region; } }
const body = new Element();
body.getAttribute = () => PAGE.tokens;
body.dataset = PAGE.account ? { account: PAGE.account, idle: PAGE.idle, left: PAGE.left, whole: PAGE.whole } : {};
// The page is replaced as a whole only where it is blanked.
body.replaceChildren = () => { place.isBlank = true; place.waiting = null; tell("blank"); };
const main = new Main();
globalThis.document = Object.assign(new Target(), {
  body, hidden: false, activeElement: null, title: "",
  createElement: () => new Main(),
  getElementById: (id) => (id === "main" ? main : id === "waiting" ? place.waiting : null),
  querySelector: () => ({ content: PAGE.groups }),
});
const ground = new Target();
globalThis.addEventListener = (kind, work) => ground.addEventListener(kind, work);
globalThis.location = { pathname: PAGE.address, href: PAGE.address, reload: () => tell("reload") };
globalThis.navigator = { locks: { request: async (name, work) => {
  await ask("lock", name);
  try { return await work(); } finally { tell("unlock", name); }
} } };
const channels = [];
globalThis.BroadcastChannel = class {
  constructor() { channels.push(this); }
  postMessage(text) { tell("say", text); }
};

// What the hand and the device do to the page.
globalThis.hear = (text) => { for (const channel of channels) channel.onmessage?.({ data: text }); };
globalThis.happen = (kind) => { (kind === "online" ? ground : document).dispatchEvent(new CustomEvent(kind)); };
globalThis.leave = (address) => document.dispatchEvent(Object.assign(new CustomEvent("submit"), { target: { action: address } }));
globalThis.touch = (number, kind, address, entries) => {
  const event = new CustomEvent(kind, { cancelable: true, detail: { address, entries: JSON.parse(entries), answer: null } });
  const done = (answer) => host("done", number, JSON.stringify([answer]));
  if (document.dispatchEvent(event)) { done({ status: 0, text: "nothing carries" }); return; }
  event.detail.answer.then(
    (answer) => done(typeof answer === "boolean" ? { status: answer ? 202 : 507 } : answer),
    (error) => done({ status: 0, text: String(error.message) }),
  );
};
globalThis.shownWaiting = () => JSON.stringify(place.waiting && !place.waiting.hidden ? place.waiting.textContent : "");
