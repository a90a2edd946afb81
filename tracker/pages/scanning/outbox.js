/* What this device read and the server has not answered yet. It is kept before anything is told, goes out in order, by one tab at a
 * time, and leaves only when the server has answered for its id: the same id counts once however often it is sent. Scans of one
 * station that have waited go out together. All tabs and stations of a device share the one queue.
 *
 *   const outbox = openOutbox({ onAnswer, onNoted, onChange });
 *   outbox.add(kind, path, body, what)   `what` names it for people; the id and the times are put into the body
 *   await outbox.idle(within)            whether all is sent, after at most `within` ms
 *   outbox.wake()                        try now
 *   await outbox.waits()                 what waits, the oldest first
 *
 * onNoted(entry)     it is kept and not yet sent: what is told now is provisional. `entry.isMisread`: its check digits are wrong
 * onAnswer(entry, { status, data, isRefused, isTold })   `isTold`: something else was told of it before, or by another page
 * onChange({ count, oldest, isAway, why, isUnkept, told })    `why`: what a server says that is there and stores nothing; `told`: what must be put right, until somebody has seen it
 */

import { call, newId } from "../frame/call.js";
import { isCode } from "./codes.js";
import { openStore } from "./outbox_store.js";
import { NO_PART } from "./shown_part.js";

const RETRY_MS = [500, 1000, 2000, 5000];
const MOST_FAILURES = 4; // of the service itself over one entry: then it is set aside, so that the rest goes on
const NOTED_MS = 1000; // without an answer: then it is told that it is kept
const AWAY = new Set([401, 408, 425, 429, 502, 503, 504]); // not the entry's fault: it is sent again
const SHOWN_MS = 10_000;
const MOST_AT_ONCE = 50; // as the server takes them

export function openOutbox({ onAnswer, onNoted, onChange }) {
  const store = openStore((isUnkept) => change({ isUnkept }));
  const channel = window.BroadcastChannel ? new BroadcastChannel("outbox") : null;
  const fresh = new Map(); // by id: what this page read and of which nothing was told yet
  let latest = ""; // the id of what this page read last: an answer to anything before it is soon covered by the next
  const state = { isAway: false, why: "", isUnkept: false };
  let failures = { id: "", count: 0 };
  let singly = 0; // so many go out one by one: together they were refused
  let isRunning = false;
  let isAsked = false;
  let wake = () => {};
  let adding = Promise.resolve();
  const idlers = [];

  async function add(kind, path, body, what) {
    const isMisread = kind === "scan" && Boolean(body.code) && !isCode(body.code);
    const by = document.getElementById("who")?.dataset.by; // it is theirs, whoever is signed in when it is sent
    const entry = { id: newId(), kind, path, body: { ...body, by }, what, isMisread, read: Date.now() };
    latest = entry.id;
    const kept = store.add(entry);
    adding = Promise.all([adding, kept]);
    await kept;
    fresh.set(entry.id, entry);
    setTimeout(() => note(entry), state.isAway ? 0 : NOTED_MS);
    change({}, true);
    drain();
  }

  function note(entry) {
    if (fresh.delete(entry.id)) onNoted(entry);
  }

  // Sending

  async function drain() {
    isAsked = true;
    if (isRunning) return;
    isRunning = true;
    for (let tries = 0; isAsked; ) {
      isAsked = false;
      const done = await alone(sendNext).catch(failed);
      if (done === "away") {
        change({ isAway: true });
        for (const entry of fresh.values()) note(entry);
        await pause(RETRY_MS[Math.min(tries++, RETRY_MS.length - 1)]);
      } else if (done === "sent") {
        tries = 0;
        change({ isAway: false }, true);
      }
      isAsked ||= done !== "empty";
    }
    isRunning = false;
    for (const tell of idlers.splice(0)) tell();
    change({});
  }

  function failed(error) {
    reportError(error); // a fault of the page must not end the sending
    return "away";
  }

  // One try under the lock: a page that sleeps in the background must not hold up the one that is looked at.
  function alone(work) {
    return navigator.locks ? navigator.locks.request("outbox", work) : work(); // not there in a page that came by plain http
  }

  async function sendNext() {
    const entries = together(await store.first(singly ? 1 : MOST_AT_ONCE));
    if (!entries.length) return "empty";
    const isOne = entries.length === 1;
    const body = isOne ? sent(entries[0]) : { scans: entries.map(sent) };
    let answer;
    state.why = "";
    try {
      answer = await call(entries[0].path, { method: "POST", body });
    } catch {
      return "away";
    }
    const { status, data } = answer;
    const isRefused = status !== 200;
    const answers = isOne ? [data] : data?.answers;
    if (!isRefused && entries.some(({ id }, place) => answers?.[place]?.id !== id)) return "away"; // a login of the network
    if (status === 503) state.why = data?.detail ?? "";
    if (AWAY.has(status)) return "away";
    if (isRefused && !isOne) {
      singly = entries.length;
      return "sent";
    }
    if (status >= 500 && !failedOften(entries[0])) return "away";
    singly = Math.max(0, singly - 1);
    await finish(entries.map((entry, place) => ({ entry, answer: { status, data: answers[place], isRefused } })));
    return "sent";
  }

  function sent({ id, body, read }) {
    return { ...body, id, at: new Date(read).toISOString(), sent_at: new Date().toISOString() };
  }

  // The first ones that one call can carry: scans of one station, up to the one that stands on the screen.
  function together(entries) {
    const [first] = entries;
    const other = entries.findIndex(({ kind, path }) => kind !== "scan" || path !== first.path);
    const last = entries.findIndex(({ id }) => id === latest) + 1;
    return entries.slice(0, Math.max(1, Math.min(other < 0 ? Infinity : other, last || Infinity)));
  }

  function failedOften({ id }) {
    failures = { id, count: failures.id === id ? failures.count + 1 : 1 };
    return failures.count > MOST_FAILURES;
  }

  // What others follow in the same call is covered by them at once: it is not shown.
  async function finish(answered) {
    const told = answered.map(({ entry, answer }, place) => {
      const isNoted = !fresh.delete(entry.id);
      return { entry, answer, isNoted, isTold: isNoted || place < answered.length - 1 };
    });
    await store.finish(
      told.map(({ entry }) => entry),
      told.map(({ entry, answer, isNoted }) => toPutRight(entry, answer, { isNoted, isPast: entry.id !== latest })).filter(Boolean),
    );
    await settle(told.filter(({ answer }) => answer.data?.outcome === "done" || answer.data?.already).map(({ entry }) => entry));
    for (const { entry, answer, isTold } of told) {
      channel?.postMessage({ entry, answer });
      try {
        onAnswer(entry, { ...answer, isTold });
      } catch (error) {
        reportError(error); // the others are told all the same
      }
    }
  }

  // What was read once more at its station, and is right now, need not be put right any more.
  async function settle(entries) {
    if (!entries.length) return;
    const { told } = await store.summary();
    for (const { id, read, entry } of told) {
      if (entries.some((later) => later.read > read && isSameReading(later, entry))) await store.seen(id);
    }
  }

  // Answers of other tabs: the page that read it shows them.
  if (channel) {
    channel.onmessage = ({ data: { entry, answer } }) => {
      if (entry && fresh.delete(entry.id)) onAnswer(entry, { ...answer, isTold: false });
      change({});
    };
  }

  // What is shown

  async function change(more, isForOthers = false) {
    Object.assign(state, more);
    if (isForOthers) channel?.postMessage({});
    const kept = await store.summary();
    onChange({ ...state, ...kept });
  }

  async function seen(note, { again = false } = {}) {
    if (again) await store.add(note.entry); // first: killed in between, it is sent and shown once more
    await store.seen(note.id);
    change({}, true);
    drain();
  }

  // When to try

  function pause(ms) {
    return new Promise((resolve) => {
      const timer = setTimeout(resolve, ms);
      wake = () => {
        clearTimeout(timer);
        resolve();
      };
    });
  }

  function wakeUp() {
    wake();
    drain();
  }

  async function idle(within) {
    await adding;
    drain();
    await Promise.race([new Promise((resolve) => idlers.push(resolve)), new Promise((resolve) => setTimeout(resolve, within))]);
    return !(await store.first(1)).length;
  }

  for (const event of ["online", "focus"]) window.addEventListener(event, wakeUp);
  document.addEventListener("visibilitychange", () => document.hidden || wakeUp());
  window.addEventListener("beforeunload", (event) => store.inMemory() && event.preventDefault());
  setInterval(() => change({}), SHOWN_MS);
  navigator.storage?.persist?.().catch(() => {});
  drain();

  return { add, seen, idle, wake: wakeUp, waits: store.all };
}

function isSameReading(one, other) {
  return one.path === other.path && ["action", "code", "part"].every((each) => one.body[each] === other.body[each]);
}

// What the worker may have gone on from and the server did not take, and a scan that it refused: kept until somebody has seen it. Not
// what stands on the screen as the answer, nor what was told at once as counting for nothing.
function toPutRight(entry, { data, isRefused }, { isNoted, isPast }) {
  const isKnown = entry.isMisread || (isNoted && entry.body.part === NO_PART);
  const isWrong = isPast && data?.sound !== undefined && data.sound !== "ok" && !data.already && !isKnown;
  if (isRefused ? !isPast && !isNoted && entry.kind !== "scan" : !isWrong) return null;
  const { word = "", title = "" } = data ?? {};
  const says = data?.says ?? data?.detail ?? data?.refused ?? "";
  return { id: entry.id, read: entry.read, what: title || entry.what, word: isRefused ? "" : word, says, isRefused, entry };
}
