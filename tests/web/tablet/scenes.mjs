// One scene in a process of its own: `node scenes.mjs FOLDER_OF_SCRIPTS SCENE`; the outcome as JSON.

import { pathToFileURL } from "node:url";
import { begin, carry, clock, network, posted, quiet, rows, shown, storage, ticks } from "./around.mjs";

const scripts = pathToFileURL(`${process.argv[2]}/`);
const load = async (name) => { await import(new URL(name, scripts)); await quiet(); };
const tick = async () => { for (const work of ticks) work(); await quiet(); };
const MINUTE = 60_000;
const PAGE = { account: "1", idle: "1800", left: "1800", whole: "43200" };
const TOUCH = "/examinations/a/touch/";

const damaged = (number) => rows.set(number, {
  number, owner: "1", nonce: new Uint8Array(12), sealed: new Uint8Array(40).buffer,
});

const scenes = {
  async one_bad_row() {
    damaged(1);
    begin(PAGE);
    await load("queue.js");
    const online = await carry(TOUCH, "a");
    network.isUp = false;
    const offline = await carry(TOUCH, "b");
    network.isUp = true;
    await tick();
    return { online: online.status, offline: offline.status, posted, left: [...rows.keys()], lines: shown.lines };
  },
  async no_room() {
    begin(PAGE);
    await load("queue.js");
    network.isUp = false;
    storage.hasRoom = false;
    return carry(TOUCH, "a");
  },
  async another_person() {
    begin(PAGE);
    network.session = { signed_in: true, account: "2", idle: 1800, idle_left: 1800, whole_left: 43200 };
    await load("session.js");
    return { blank: shown.blank };
  },
  async the_same_person() {
    begin(PAGE);
    network.session = { signed_in: true, account: "1", idle: 1800, idle_left: 1800, whole_left: 43200 };
    await load("session.js");
    return { blank: shown.blank };
  },
  async no_first_answer() {
    begin(PAGE);
    network.isUp = false;
    await load("session.js");
    const before = shown.blank;
    clock.ahead = 31 * MINUTE;
    await tick();
    return { before, blank: shown.blank };
  },
  async clock_set_back() {
    begin(PAGE);
    network.isUp = false;
    await load("session.js");
    clock.ahead = -24 * 60 * MINUTE;
    await tick();
    return { blank: shown.blank };
  },
};

process.stdout.write(JSON.stringify(await scenes[process.argv[3]]()));
process.exit(0);
