/* The packer's screen: scans, badges and counts go out by the outbox, one after the other; each answer brings the bench as it is then;
 * a poll shows what others pack. */
import { call, poll, words } from "../frame/call.js";
import { openOutbox } from "../scanning/outbox.js";
import { outboxShown, toldNoted } from "../scanning/outbox_told.js";
import { listen } from "../scanning/scanner.js";
import "../frame/shell.js";
import { takesBack } from "../scanning/codes.js";
import { shownPart } from "../scanning/shown_part.js";
import { sound } from "../scanning/station_sound.js";

const KEPT = "pack-station";
const LAST = "pack-bench"; // the bench as it was shown last, for a reload while the server is gone
const SENT_MS = 5000; // what was read before the box is sealed goes out first
const COUNT_MS = 250; // taps on plus that come faster are sent together
const TAP_MS = 1500; // a glove that taps twice means one
const UNKNOWN = "…"; // on the button that takes back, until it is known what counts last now
const BADGE = /^W[0-9]{10}$/;
const PART = /^P[0-9]{10}$/i;

const byId = (id) => document.getElementById(id);
const pack = byId("pack");
const list = byId("benches");

const TITLES = { sealing: "shortTitle", weighing: "weighTitle", opening: "openTitle" }; // of the foreman's dialog
const drawn = new WeakMap(); // region -> the text that it was drawn from

function choose() {
  const kept = keep(KEPT);
  const known = [...list.querySelectorAll("a")].find((link) => link.textContent === kept);
  if (known && !("choosing" in list.dataset)) location.replace(known.href);
}

function keep(key, value) {
  try {
    if (value) localStorage.setItem(key, value);
    return localStorage.getItem(key);
  } catch {
    return null; // a browser that keeps nothing asks each time
  }
}

function start() {
  keep(KEPT, pack.dataset.station);
  let noted = ""; // the id of the reading of which the screen says that it is kept
  let meant = ""; // its code: an undo now means it, whatever becomes of it
  let before = ""; // what the button named before the reading that is not answered yet
  let change = Number.parseInt(document.querySelector('meta[name="change-tag"]').content, 10); // the log's number: the bench as drawn
  let sealing = false;
  let tookBack = -TAP_MS;
  let turn = Promise.resolve();
  let badge = "";
  const counting = new Map(); // item -> {timer, was, count, box}
  const counted = new Map(); // item -> {count, box} that the server has not answered yet
  const short = byId("short");
  let shortBox = ""; // the box that the dialog asks about
  const doubt = byId("doubt");
  const damage = byId("damage");
  let scanned = ""; // the part that was scanned last
  const part = shownPart(); // the one that a card or a slot's code means

  for (const region of document.querySelectorAll("[data-region]")) drawn.set(region, region.outerHTML);
  drawn.set(byId("next"), byId("next").innerHTML);
  const shown = outboxShown();
  const outbox = openOutbox({ onNoted, onAnswer, onChange: shown.state });
  shown.use(outbox);
  showLast();
  outbox.waits().then(showCounted);
  window.addEventListener("pagehide", sendCounts);

  listen(onCode, { onMass, onUnclear, field: byId("code") });
  poll(pack.dataset.bench, onNews, { every: 1000 });
  poll(pack.dataset.next, (data) => swap(byId("next"), data.next), { every: 5000 });
  document.addEventListener("click", onClick);
  const above = new ResizeObserver(placeBench);
  for (const each of [document.querySelector(".outbox"), ...pack.children]) if (each.id !== "bench") above.observe(each);
  document.addEventListener("change", onChange);
  document.addEventListener("submit", onSubmit);

  // Scans

  function onCode(code, { repeated }) {
    if (damage.open && PART.test(code)) return mean(code.toUpperCase(), code.toUpperCase());
    if (repeated) return say(words("repeated"), "look");
    if (short.open && !BADGE.test(code)) return finishFirst();
    doubt.close(); // whoever scans goes on packing
    if (BADGE.test(code)) return onBadge(code);
    if (takesBack(code)) return takeBack(code);
    scan(code, "pass");
  }

  function onMass(mass) {
    if (short.open) return finishFirst();
    doubt.close();
    if (!byId("mass")) return say(words("weighLater"), "look");
    return weigh(mass);
  }

  // What is none of the shop's is sent too: the log keeps it as a misread.
  function onUnclear(text, why) {
    if (why === "noCode" && short.open) return finishFirst();
    if (why === "noCode") return scan(text, "pass");
    if (why !== "noMass") part.none();
    return say(words("unclear"), "look", { title: text, says: words(why) });
  }

  function scan(code, action, more = {}) {
    const named = byId("undo").textContent.replace(UNKNOWN, "").trim();
    const { what, ...meant } = action === "undo" ? { what: named } : part.read(code);
    saySeal("");
    if (undoNames() !== UNKNOWN) before = undoNames();
    nameUndo(UNKNOWN);
    outbox.add("scan", pack.dataset.scan, { code, action, ...meant, ...more }, what);
  }

  function pressUndo() {
    if (performance.now() - tookBack < TAP_MS) return;
    tookBack = performance.now();
    takeBack();
  }

  function takeBack(card = "") {
    scan((isKept() && meant) || card, "undo");
  }

  const isKept = () => byId("answer").dataset.sound === "kept";

  // While a foreman decides about one box, nothing is scanned into another.
  function finishFirst() {
    byId("short-refused").textContent = words("finishFirst");
    byId("short-refused").hidden = false;
    sound("look");
  }

  async function onBadge(code) {
    if (!short.open) return outbox.add("badge", "/station/badge", { code }, words("hello"));
    badge = code;
    byId("badge-read").hidden = false;
    byId("by-name").hidden = true;
    return sound("ok");
  }

  // Answers

  function onNoted(entry) {
    const { id, kind, body, what, isMisread } = entry;
    if (kind === "count") return; // it stands on the screen
    const told = toldNoted(entry);
    noted = id;
    if (kind === "scan") meant = body.action === "pass" && !told.isNothing ? body.code : "";
    if (told.isNothing) nameUndo(before);
    else if (kind === "scan") nameUndo(body.action === "undo" ? "" : what);
    if (!isMisread && body.action === "pass" && PART.test(body.code)) mean(body.code, body.code);
    say(told.word, told.kind, { title: what, says: told.says });
  }

  // What was told as kept is not told again when all goes well, unless it still stands on the screen.
  function onAnswer(entry, { data, isRefused, isTold }) {
    const { id, kind, body } = entry;
    part.answered(entry, data);
    if (kind === "count") return onCounted(body, data, isRefused);
    if (kind === "badge" && !isRefused) {
      byId("who").textContent = data.name;
      byId("nobody")?.remove();
    }
    if (data?.part && !isTold) mean(data.part, data.title);
    const isCovered = isTold && id !== noted;
    const isShown = data?.bench && show(data, isCovered);
    if (isCovered) return;
    if (data?.bench && !isShown) nameUndo(undoIn(data.bench)); // what others did since changes nothing of it
    if (isRefused && kind === "scan") nameUndo(before);
    if (isRefused) say(data?.refused ?? data?.detail ?? words("refused"), "stop");
    else if (kind === "badge") say(`${words("hello")} ${data.name}`, "ok");
    else if (data.answer) answer(data.answer, data.sound, data.outcome);
    else say(data.word, data.sound, data);
  }

  function onNews(data) {
    showWho(data);
    return show(data, isKept() || undoNames() === UNKNOWN);
  }

  function showWho({ who, by, nobody }) {
    byId("who").textContent = who;
    byId("who").dataset.by = by; // the outbox keeps it with what is read
    if (!nobody) byId("nobody")?.remove();
  }

  // What is not sent yet would be taken back first. The next answer draws the button anew.
  function nameUndo(what) {
    byId("undo").querySelector("b").textContent = what;
    drawn.delete(byId("undo"));
  }

  function undoIn(bench) {
    const fresh = document.createElement("template");
    fresh.innerHTML = bench;
    return fresh.content.querySelector("#undo b").textContent;
  }

  function undoNames() {
    return byId("undo").querySelector("b").textContent;
  }

  // Damage: the part that was scanned last is meant until another is chosen

  function mean(code, title) {
    scanned = code;
    byId("scanned").querySelector("input").value = code;
    byId("scanned").querySelector("span").textContent = title;
    chooseScanned();
  }

  // A part that lies in the box stands in the list of those; one that does not has a line of its own.
  function chooseScanned() {
    const own = byId("scanned").querySelector("input");
    const inside = [...damage.querySelectorAll(".inside input")].find((each) => each.value === scanned);
    byId("scanned").hidden = !scanned || Boolean(inside);
    if (scanned) (inside ?? own).checked = true;
  }

  function openDamage() {
    byId("damage-refused").hidden = true;
    chooseScanned();
    damage.showModal();
  }

  function markDamaged(reason) {
    const meant = damage.querySelector("[name=damaged]:checked")?.value;
    if (!meant) {
      byId("damage-refused").hidden = false;
      return sound("look");
    }
    damage.close();
    return scan(meant, "damaged", { reason });
  }

  // Acts at the bench

  // One act after the other: whoever seals right after counting or weighing seals what was counted and weighed.
  function inTurn(path, body) {
    turn = turn.then(() => ask(path, body));
    return turn;
  }

  async function weigh(mass) {
    const { status, data } = await inTurn(pack.dataset.weigh, { box: box(), mass });
    if (data?.bench) show(data);
    if (data?.answer) answer(data.answer, data.sound, "");
    else if (status === 200) sound("ok");
    else say(data?.refused ?? words(status === 0 ? "notDone" : "refused"), "stop");
  }

  // One press, one act: a second one before the answer is the same intention.
  async function once(work) {
    if (sealing) return;
    sealing = true;
    sendCounts();
    if (await outbox.idle(SENT_MS)) await work();
    else tellSealing({ status: 0 });
    sealing = false;
  }

  // Said at the top and beside the button that was pressed.
  function tellSealing({ status, data }) {
    const says = data?.refused ?? words(status === 0 ? "notDone" : "refused");
    if (!short.open) {
      saySeal(says);
      return say(says, "stop");
    }
    byId("short-refused").textContent = says;
    byId("short-refused").hidden = false;
    return sound("stop");
  }

  function saySeal(text) {
    byId("seal-says").textContent = text;
    byId("seal-says").hidden = !text;
  }

  async function seal({ looked = false } = {}) {
    const meant = box();
    doubt.close();
    saySeal("");
    if (!meant) return say(words("noBox"), "look");
    const { status, data } = await inTurn(pack.dataset.seal, { box: meant, looked });
    if (data?.bench) show(data);
    if (status === 200) return say(data.says ?? words("sealed"), "ok");
    if (data?.doubt) return askToLook(data.refused);
    if (data?.off_weight) {
      openShort("weighing", meant, head()?.dataset.name);
      return sound("stop");
    }
    return tellSealing({ status, data });
  }

  function askToLook(text) {
    byId("doubt-says").textContent = text;
    doubt.showModal();
    byId("doubt-off").focus();
    return sound("stop");
  }

  async function override() {
    const bagged = [...short.querySelectorAll("[name=bagged]:checked")].map((each) => each.value);
    const signed = { badge, name: byId("foreman").value, password: byId("password").value };
    const isOpening = short.dataset.deed === "opening";
    const path = isOpening ? pack.dataset.openAgain : pack.dataset.override;
    const opened = shortBox;
    const { status, data } = await inTurn(path, { box: shortBox, reason: byId("reason").value, bagged, ...signed });
    if (status !== 200) {
      byId("password").value = "";
      return tellSealing({ status, data });
    }
    closeShort();
    show(data);
    say(data.says ?? words("sealed"), "ok");
    if (isOpening && opened !== box()) scan(opened, "pass"); // it lies here now
  }

  function openShort(deed, meant, name) {
    closeShort();
    short.dataset.deed = deed;
    shortBox = meant;
    byId("short-title").textContent = words(TITLES[deed], { box: name });
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
    if (button.id !== "undo") tookBack = -TAP_MS; // another press between makes the next one meant
    if (button.id === "seal") once(seal);
    else if (button.id === "looked") once(() => seal({ looked: true }));
    else if (button.id === "doubt-off") doubt.close();
    else if (button.id === "undo") pressUndo();
    else if (button.id === "short-on") openShort("sealing", box(), head()?.dataset.name);
    else if (button.dataset.reopen) openShort("opening", button.dataset.reopen, button.dataset.name);
    else if (button.id === "short-off" || button.id === "open-off") closeShort();
    else if (button.id === "damaged-on") openDamage();
    else if (button.id === "damaged-off") damage.close();
    else if (button.closest("#damage .why")) markDamaged(button.value);
    else if (button.dataset.open) scan(button.dataset.open, "pass");
    else if (button.closest(".item")) step(button);
  }

  function onSubmit(event) {
    if (!["weigh", "override"].includes(event.target.id)) return;
    event.preventDefault();
    if (event.target.id === "override") once(override);
    else if (byId("mass").value.trim()) weigh(byId("mass").value);
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
    saySeal("");
    line.querySelector("input").value = number;
    const before = counted.get(item)?.box === box() ? counted.get(item).count : Number(line.dataset.was);
    const told = { was: pending?.was ?? before, count: number, box: box() };
    counting.set(item, { ...told, timer: setTimeout(() => sendCount(item, counting.get(item)), COUNT_MS) });
  }

  function sendCounts() {
    for (const [item, told] of counting) sendCount(item, told);
  }

  function sendCount(item, { timer, ...told }) {
    clearTimeout(timer);
    counting.delete(item);
    counted.set(item, { count: told.count, box: told.box });
    outbox.add("count", pack.dataset.count, { item, ...told }, `${item}: ${told.count}`);
  }

  function onCounted({ item, count: number }, data, isRefused) {
    if (isRefused || counted.get(item)?.count === number) counted.delete(item);
    if (data?.bench) show(data);
    if (!isRefused) return sound("ok");
    say(data?.refused ?? data?.detail ?? words("refused"), "stop");
    return redraw();
  }

  // After a reload what was counted and not yet sent stands on the screen again.
  function showCounted(waiting) {
    for (const { kind, body } of waiting) if (kind === "count") counted.set(body.item, { count: body.count, box: body.box });
    keepTyped(document);
  }

  // A tap that the server does not know of stays on the screen.
  function keepTyped(place) {
    for (const [item, { count: number, box: its }] of [...counted, ...counting]) {
      const line = [...place.querySelectorAll(".item")].find((each) => each.dataset.item === item);
      if (line && its === box()) line.querySelector("input").value = number;
    }
  }

  // What was refused must not stay on the screen: draw all anew.
  async function redraw() {
    for (const region of document.querySelectorAll("[data-region]")) drawn.delete(region);
    const answered = await call(pack.dataset.bench).catch(() => null);
    if (answered?.status === 200) show(answered.data);
  }

  // What is shown

  function head() {
    return document.querySelector("[data-region=head]");
  }

  function box() {
    return head()?.dataset.box ?? "";
  }

  // How much of the screen the bench has: what stands above it grows with the answer and with what is not sent.
  function placeBench() {
    const { top } = byId("bench").getBoundingClientRect();
    byId("bench").style.setProperty("--bench-top", `${Math.round(top + scrollY)}px`);
  }

  // The page itself may be older: the device kept it when it was loaded.
  function showLast() {
    const last = JSON.parse(keep(LAST) || "null");
    if (last?.station === pack.dataset.station) show(last);
  }

  // False for what is older than what is shown: an answer may overtake another. `isBehind`: something was read since.
  function show({ bench, change: its }, isBehind = false) {
    if (its < change) return false;
    change = its;
    keep(LAST, JSON.stringify({ station: pack.dataset.station, bench, change }));
    const fresh = document.createElement("template");
    fresh.innerHTML = bench;
    for (const region of fresh.content.querySelectorAll("[data-region]")) {
      const old = document.querySelector(`[data-region=${region.dataset.region}]`);
      if (!old || drawn.get(old) === region.outerHTML || (isBehind && old.id === "undo")) continue;
      const typed = held(old);
      const chosen = [...old.querySelectorAll("[type=radio]:checked, [type=checkbox]:checked")].map((each) => each.value);
      const text = region.outerHTML;
      old.replaceWith(region);
      drawn.set(region, text);
      for (const each of region.querySelectorAll("[type=radio], [type=checkbox]")) each.checked = chosen.includes(each.value);
      keepTyped(region);
      giveBack(typed);
    }
    return true;
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
    const fresh = document.createElement("template");
    fresh.innerHTML = html;
    const text = fresh.innerHTML;
    if (!html || drawn.get(place) === text) return;
    drawn.set(place, text);
    const opener = place.contains(document.activeElement) ? document.activeElement.dataset.open : "";
    place.replaceChildren(fresh.content);
    if (opener) place.querySelector(`[data-open="${opener}"]`)?.focus({ preventScroll: true });
  }

  function answer(html, kind, outcome) {
    const place = byId("answer");
    place.innerHTML = html;
    place.dataset.sound = kind;
    place.dataset.outcome = outcome;
    for (const region of place.querySelectorAll("[data-region]")) drawn.set(region, region.outerHTML);
    sound(kind);
  }

  function say(text, kind, { title = "", says = "" } = {}) {
    const line = document.createElement("p");
    line.className = "told-word";
    line.append(Object.assign(document.createElement("strong"), { textContent: text }));
    const facts = Object.assign(document.createElement("div"), { className: "told-facts" });
    for (const [className, textContent] of Object.entries({ "told-title": title, "told-says": says })) {
      if (textContent) facts.append(Object.assign(document.createElement("p"), { className, textContent }));
    }
    answer("", kind, "");
    byId("answer").replaceChildren(line, ...(facts.children.length ? [facts] : []));
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
