/* The packer's screen: scans go out one after the other, each answer brings the bench as it is then; a poll shows what others pack. */
import { call, newId, poll, words } from "./call.js";
import { listen } from "./scanner.js";
import { sound } from "./station_sound.js";

const KEPT = "pack-station";
const RETRY_MS = 1000;
const COUNT_MS = 250; // taps on plus that come faster are sent together
const SCALE = /^[+]?\s*([0-9]{1,4}(?:[.,][0-9]{1,3})?)\s*(kg|lb)?$/i;
const BADGE = /^W[0-9]{10}$/;

const byId = (id) => document.getElementById(id);
const pack = byId("pack");
const list = byId("benches");

const drawn = new WeakMap(); // region -> the text that it was drawn from

function choose() {
  const kept = keep();
  const known = [...list.querySelectorAll("a")].find((link) => link.textContent === kept);
  if (known && !("choosing" in list.dataset)) location.replace(known.href);
}

function keep(name) {
  try {
    if (name) localStorage.setItem(KEPT, name);
    return localStorage.getItem(KEPT);
  } catch {
    return null; // a browser that keeps nothing asks each time
  }
}

function start() {
  keep(pack.dataset.station);
  const queue = [];
  let sending = false;
  let looked = ""; // the box that the packer looked into once more
  let turn = Promise.resolve();
  let badge = "";
  const counting = new Map(); // item -> {timer, was, count}
  const short = byId("short");

  listen(onCode, { onText, field: byId("code") });
  poll(pack.dataset.bench, (data) => show(data.bench), { every: 1000 });
  poll(pack.dataset.next, (data) => swap(byId("next"), data.next), { every: 5000 });
  byId("undo").addEventListener("click", () => scan("", "undo"));
  document.addEventListener("click", onClick);
  document.addEventListener("change", onChange);
  document.addEventListener("submit", onSubmit);

  // Scans

  function onCode(code, { repeated }) {
    if (repeated) return say(words("repeated"), "look");
    if (BADGE.test(code)) return onBadge(code);
    scan(code, "pass");
  }

  function onText(text) {
    const mass = SCALE.exec(text);
    if (!mass) return scan(text, "pass");
    if (!byId("mass")) return say(words("weighLater"), "look");
    return act(pack.dataset.weigh, { box: box(), mass: mass[1], unit: mass[2]?.toLowerCase() ?? null });
  }

  function scan(code, action) {
    queue.push({ id: newId(), code, action, read: performance.now() });
    send();
  }

  async function send() {
    if (sending) return;
    sending = true;
    while (queue.length) {
      const { id, code, action, read } = queue[0];
      const { status, data } = await ask(pack.dataset.scan, { id, code, action, age_ms: performance.now() - read });
      if (status === 0 || status >= 500) {
        say(words("away"), "stop");
        await new Promise((done) => setTimeout(done, RETRY_MS));
        continue; // the same id again: it counts once
      }
      queue.shift();
      looked = "";
      if (data?.answer) answer(data.answer, data.sound, data.outcome);
      else say(data?.refused ?? words("refused"), "stop");
      if (data?.bench) show(data.bench);
    }
    sending = false;
  }

  async function onBadge(code) {
    if (short.open) {
      badge = code;
      byId("badge-read").hidden = false;
      byId("by-name").hidden = true;
      return sound("ok");
    }
    const { status, data } = await ask("/station/badge", { code });
    if (status !== 200) return say(data?.refused ?? data?.detail ?? words("refused"), "stop");
    byId("who").textContent = data.name;
    return say(`${words("hello")} ${data.name}`, "ok");
  }

  // Acts at the bench

  // One act after the other: whoever seals right after counting or weighing seals what was counted and weighed.
  function inTurn(path, body) {
    turn = turn.then(() => ask(path, body));
    return turn;
  }

  async function act(path, body) {
    const { status, data } = await inTurn(path, body);
    if (data?.bench) show(data.bench);
    if (status === 200) sound("ok");
    else say(data?.refused ?? words(status === 0 ? "away" : "refused"), "stop");
    return { status, data };
  }

  async function seal() {
    if (!box()) return say(words("noBox"), "look");
    for (const [item, sent] of counting) sendCount(item, sent);
    const { status, data } = await inTurn(pack.dataset.seal, { box: box(), looked: looked === box() });
    if (data?.bench) show(data.bench);
    if (status === 200) return say(data.says ?? words("sealed"), "ok");
    if (data?.doubt) looked = box();
    return say(data?.refused ?? words(status === 0 ? "away" : "refused"), "stop");
  }

  async function override() {
    const told = { box: box(), reason: byId("reason").value, badge, name: byId("foreman").value, password: byId("password").value };
    const { status, data } = await inTurn(pack.dataset.override, told);
    if (status !== 200) {
      byId("short-refused").textContent = data?.refused ?? words(status === 0 ? "away" : "refused");
      byId("short-refused").hidden = false;
      byId("password").value = "";
      return sound("stop");
    }
    closeShort();
    show(data.bench);
    return say(data.says ?? words("sealed"), "ok");
  }

  function openShort() {
    closeShort();
    short.showModal();
    byId("reason").focus();
  }

  function closeShort() {
    badge = "";
    short.close();
    byId("override").reset();
    byId("badge-read").hidden = true;
    byId("by-name").hidden = "own" in byId("by-name").dataset;
    byId("short-refused").hidden = true;
  }

  function onClick(event) {
    const button = event.target.closest("button");
    if (!button) return;
    if (button.id === "seal") seal();
    else if (button.id === "short-on") openShort();
    else if (button.id === "short-off") closeShort();
    else if (button.dataset.open) scan(button.dataset.open, "pass");
    else if (button.closest(".item")) step(button);
  }

  function onSubmit(event) {
    if (!["weigh", "override"].includes(event.target.id)) return;
    event.preventDefault();
    if (event.target.id === "override") override();
    else if (byId("mass").value.trim()) act(pack.dataset.weigh, { box: box(), mass: byId("mass").value, unit: null });
  }

  // Items

  function step(button) {
    const line = button.closest(".item");
    const input = line.querySelector("input");
    const most = Number(line.dataset.quantity);
    const wanted = "all" in button.dataset ? most : (Number(input.value) || 0) + Number(button.dataset.by);
    count(line, Math.min(Math.max(wanted, 0), most));
  }

  function onChange(event) {
    const line = event.target.closest(".item");
    if (line) count(line, Number.parseInt(event.target.value, 10) || 0);
  }

  function count(line, number) {
    const item = line.dataset.item;
    const pending = counting.get(item);
    clearTimeout(pending?.timer);
    line.querySelector("input").value = number;
    const sent = { was: pending?.was ?? Number(line.dataset.was), count: number, box: box() };
    counting.set(item, { ...sent, timer: setTimeout(() => sendCount(item, counting.get(item)), COUNT_MS) });
  }

  async function sendCount(item, { timer, ...sent }) {
    clearTimeout(timer);
    counting.delete(item);
    const { status } = await act(pack.dataset.count, { item, ...sent });
    if (status !== 200) refresh();
  }

  async function refresh() {
    const response = await fetch(pack.dataset.bench, { cache: "no-store", headers: { Accept: "application/json" } });
    if (response.ok) show((await response.json()).bench);
  }

  // What is shown

  function box() {
    return document.querySelector("[data-region=head]")?.dataset.box ?? "";
  }

  function show(html) {
    const fresh = document.createElement("template");
    fresh.innerHTML = html;
    for (const region of fresh.content.querySelectorAll("[data-region]")) {
      const old = document.querySelector(`[data-region=${region.dataset.region}]`);
      if (!old || drawn.get(old) === region.outerHTML) continue;
      const typed = held(old);
      const text = region.outerHTML;
      old.replaceWith(region);
      drawn.set(region, text);
      for (const [item, { count: number }] of counting) {
        const line = [...region.querySelectorAll(".item")].find((each) => each.dataset.item === item);
        if (line) line.querySelector("input").value = number; // a tap that is not sent yet stays on the screen
      }
      giveBack(typed);
    }
  }

  function held(region) {
    const input = document.activeElement;
    if (!region.contains(input) || !input.id) return null;
    const typing = input instanceof HTMLInputElement && input.value !== input.defaultValue;
    return { id: input.id, value: typing ? input.value : null };
  }

  function giveBack(typed) {
    const input = typed && byId(typed.id);
    if (!input) return;
    if (typed.value !== null) input.value = typed.value;
    input.focus({ preventScroll: true });
  }

  function swap(place, html) {
    if (!html || drawn.get(place) === html) return;
    drawn.set(place, html);
    const opener = place.contains(document.activeElement) ? document.activeElement.dataset.open : "";
    place.innerHTML = html;
    if (opener) place.querySelector(`[data-open="${opener}"]`)?.focus({ preventScroll: true });
  }

  function answer(html, kind, outcome) {
    const place = byId("answer");
    place.innerHTML = html;
    place.dataset.sound = kind;
    place.dataset.outcome = outcome;
    sound(kind);
  }

  function say(text, kind) {
    const line = document.createElement("p");
    line.className = "told-word";
    line.append(Object.assign(document.createElement("strong"), { textContent: text }));
    answer("", kind, "");
    byId("answer").replaceChildren(line);
  }
}

async function ask(path, body) {
  try {
    return await call(path, { method: "POST", body });
  } catch {
    return { status: 0, data: null };
  }
}

if (list) choose();
if (pack) start();
