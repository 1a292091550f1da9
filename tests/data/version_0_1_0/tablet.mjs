// The tablet's own scripts without a browser: a form is submitted while the network is gone, the
// queue keeps it, the network comes back, and what the queue then posts is written out.
//
// Ran on version 0.1.0 with node 20: `node tablet.mjs FOLDER_OF_SCRIPTS < touches.json`. Kept as
// documentation of how queue.json was made. Only what stands around the scripts is imitated here
// (a form, the storage of the browser, the network); every entry is made by the scripts.

import { pathToFileURL } from "node:url";

const chunks = [];
for await (const chunk of process.stdin) chunks.push(chunk);
const touches = JSON.parse(Buffer.concat(chunks).toString());

const element = () => ({
  dataset: {}, setAttribute() {}, append() {}, before() {}, after() {}, replaceChildren() {}, isConnected: false,
});
globalThis.document = Object.assign(new EventTarget(), {
  body: Object.assign(element(), { getAttribute: () => "{}", dispatchEvent() {} }),
  activeElement: null, createElement: element, getElementById: () => null, querySelector: () => null,
});
globalThis.window = new EventTarget();
globalThis.location = { href: "http://localhost/", pathname: "/", reload() {} };
globalThis.navigator = { locks: { request: (_, work) => work() } };
globalThis.setInterval = () => 0;
globalThis.FormData = class {
  constructor(form) { this.pairs = [...form.data]; }
  get(name) { return this.getAll(name)[0] ?? null; }
  getAll(name) { return this.pairs.filter(([one]) => one === name).map(([, text]) => text); }
  has(name) { return this.getAll(name).length > 0; }
  append(name, text) { this.pairs.push([name, text]); }
  [Symbol.iterator]() { return this.pairs[Symbol.iterator](); }
};

// The storage of the browser: one table with running numbers.
const rows = new Map();
let number = 0;
const later = (request, result) => { setTimeout(() => { request.result = result; request.onsuccess?.(); }); return request; };
const table = {
  getAll: () => later({}, [...rows.values()]),
  add: (row) => { number += 1; rows.set(number, { ...row, number }); },
  delete: (which) => rows.delete(which),
};
const transaction = () => {
  const made = { objectStore: () => table };
  setTimeout(() => made.oncomplete?.());
  return made;
};
globalThis.indexedDB = { open: () => later({}, { transaction }) };

let isUp = true;
const sent = [];
const key = Buffer.alloc(32, 7).toString("base64");
globalThis.fetch = async (address, options) => {
  if (!isUp) throw new TypeError("no network");
  if (address === "/queue-key/") return { status: 200, text: async () => JSON.stringify({ owner: "1", key, held: [] }) };
  const body = JSON.parse(options.body);
  sent.push({ address, body });
  return { status: 200, text: async () => JSON.stringify({ stored: body.entries.map((entry) => entry.id), held: [], conflicts: 0 }) };
};

const formOf = ({ data, types, action, classes, line }) => {
  const elements = {};
  for (const [name, value] of data) elements[name] ??= { value };
  return {
    data, elements, action: new URL(action, location.href).href, id: "", isConnected: false,
    parentElement: { querySelector: () => null },
    matches: (selector) => ({ "form[data-touch]": !line, "form[data-line]": line, ".number": classes.includes("number") })[selector],
    closest: () => null, after() {}, setAttribute() {}, removeAttribute() {}, getAttribute: () => null,
    querySelectorAll: () => [],
    querySelector: (selector) => {
      const name = selector.match(/^\[name="(.+)"\]$/)?.[1];
      return name ? { type: types[name] } : selector === "textarea" ? {} : null;
    },
    submit() { throw new Error("the script could not read this form"); },
  };
};

const quiet = async () => {
  for (let before = -1; before !== rows.size + sent.length;) {
    before = rows.size + sent.length;
    await new Promise((done) => setTimeout(done, 50));
  }
};

const scripts = pathToFileURL(`${process.argv[2]}/`);
for (const name of ["queue.js", "touch.js", "line.js"]) await import(new URL(name, scripts));
await quiet();
isUp = false;
for (const { form, button } of touches) {
  const event = new Event("submit", { cancelable: true });
  Object.defineProperty(event, "target", { value: formOf(form) });
  Object.defineProperty(event, "submitter", { value: button });
  document.dispatchEvent(event);
  await quiet();
}
isUp = true;
window.dispatchEvent(new Event("online"));
await quiet();
process.stdout.write(JSON.stringify(sent));
process.exit(rows.size ? 1 : 0);
