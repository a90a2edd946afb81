/* The station's screen. What is read goes to the outbox, and what it says is shown: the server's answer, or that it is kept until
 * the server is back. The screen need never be touched. */

import { call, poll, words } from "../frame/call.js";
import { openOutbox } from "../scanning/outbox.js";
import { outboxShown, toldNoted } from "../scanning/outbox_told.js";
import { listen } from "../scanning/scanner.js";
import "../frame/shell.js";
import { takesBack } from "../scanning/codes.js";
import { shownPart } from "../scanning/shown_part.js";
import { camera, readPhoto } from "../scanning/station_camera.js";
import { sound } from "../scanning/station_sound.js";

const PICTURE_MS = 20000;
const SAME_MS = 1500; // a button pressed twice within this is one intention
const ASKED_MS = 20000; // a question that nobody answers goes away
const UNKNOWN = "…"; // on the button, until it is known what counts last now
const at = (id) => document.getElementById(id);
const floor = at("floor").dataset;

keepStation();

function keepStation() {
  try {
    localStorage.setItem("station", location.pathname);
  } catch {
    // a browser that keeps nothing asks each time
  }
}

// Readings, one after the other

let lastPart = null; // {code, title} of the last part that was read
const part = shownPart(); // the one that a card or a slot's code means
let noted = ""; // the id of the reading of which the screen says that it is kept
let meant = ""; // its code: an undo now means it, whatever becomes of it
let before = ""; // what the button named before the reading that is not answered yet
let change = 0; // the shop's change number as it was when the last answer came

const shown = outboxShown();
const outbox = openOutbox({ onNoted, onAnswer, onChange: shown.state });
shown.use(outbox);

function take(action, code, more = {}) {
  at("answer").classList.add("old");
  const named = at("undo").textContent.replace(UNKNOWN, "").trim();
  if (at("undoes").textContent !== UNKNOWN) before = at("undoes").textContent;
  nameUndo(UNKNOWN);
  const { what, ...meant } = action === "undo" ? { what: named } : part.read(code);
  outbox.add("scan", floor.scan, { action, code, ...meant, ...more }, what);
}

/* A badge waits its turn too: what was scanned before it was scanned by whoever worked here before. */
function greet(code) {
  outbox.add("badge", floor.badge, { code }, words("badge"));
}

// Answers

function onNoted(entry) {
  const { id, body, what, isMisread } = entry;
  const { kind, word, says, isNothing } = toldNoted(entry);
  noted = id;
  if (entry.kind === "scan") {
    meant = body.action === "pass" && !isNothing ? body.code : "";
    nameUndo(isNothing ? before : body.action === "undo" ? "" : what);
  }
  at("answer").dataset.outcome = "kept";
  paint(kind, bigWord(word) + facts(what, says));
  if (body.action === "pass" && /^P/.test(body.code) && !isMisread) lastPart = { code: body.code, title: body.code };
}

/* What was told as kept is not told again when all goes well, unless it still stands on the screen. */
function onAnswer(entry, { data, isRefused, isTold }) {
  const { id, kind, body } = entry;
  part.answered(entry, data);
  if (kind === "badge" && !isRefused) showWho({ who: data.name, nobody: false });
  if (data?.part && (!isTold || lastPart?.code === body.code)) lastPart = { code: data.part, title: data.title };
  if (isTold && id !== noted) return;
  if (isRefused) showRefused(data);
  else if (kind === "badge") showWorker(data);
  else show(data);
  refresh();
}

const isKept = () => at("answer").dataset.sound === "kept";

function show(told) {
  paint(told.sound, told.html ?? bigWord(told.word) + facts(told.title, told.says), told.shade);
  at("answer").dataset.outcome = told.outcome;
  nameUndo(told.undoes ?? "");
  change = told.change ?? change;
}

function showWorker({ name }) {
  at("answer").dataset.outcome = "badge";
  paint("ok", bigWord(`${words("badge")}, ${name}`));
}

function showRefused(problem) {
  at("answer").dataset.outcome = "refused";
  paint("stop", bigWord(words("refused")) + facts("", problem?.detail ?? ""));
  nameUndo(before);
}

function facts(title, says) {
  const place = Object.assign(document.createElement("div"), { className: "told-facts" });
  if (title) place.append(Object.assign(document.createElement("h2"), { textContent: title }));
  place.append(Object.assign(document.createElement("p"), { className: "told-says", textContent: says }));
  return place.outerHTML;
}

function bigWord(text) {
  const word = Object.assign(document.createElement("p"), { className: "told-word" });
  word.append(Object.assign(document.createElement("strong"), { textContent: text }));
  return word.outerHTML;
}

function paint(kind, html, shade = kind) {
  const answer = at("answer");
  at("twice").textContent = "";
  answer.innerHTML = html;
  answer.dataset.sound = kind;
  answer.dataset.shade = shade;
  answer.classList.remove("fresh", "old");
  void answer.offsetWidth; // so that the same answer twice is seen twice
  answer.classList.add("fresh");
  sound(kind);
}

// Scans: the keyboard scanner, the typed code, the camera

function onCode(text, { repeated }) {
  const code = text.toUpperCase();
  if (repeated) {
    at("twice").textContent = words("twice");
  } else if (/^W[0-9]{10}$/.test(code)) {
    greet(code);
  } else if (takesBack(code)) {
    takeBack(code);
  } else if (asked && /^P[0-9]{10}$/.test(code)) {
    take("damaged", code, { reason: asked.reason });
    ask(null);
  } else {
    if (asked) ask(null); // something else was read: the reason was not for what comes next
    take("pass", code);
  }
}

// What is none of the shop's is sent too: the log keeps it as a misread.
function onUnclear(text, why) {
  if (why === "noCode") return take("pass", text);
  part.none();
  at("answer").dataset.outcome = "unclear";
  return paint("look", bigWord(words("unclear")) + facts(text, words(why)));
}

listen(onCode, { onUnclear, field: at("code") });

// Undo and damage

let asked = null; // {reason, part}: the reason that waits for a part, and the part that the question names
let askedFor = 0;

function ask(reason, word = "", isTapped = true) {
  clearTimeout(askedFor);
  asked = reason && { reason, part: lastPart };
  at("confirm").hidden = !reason;
  at("reasons").hidden = Boolean(reason);
  if (!reason) return;
  const { part } = asked;
  at("yes").hidden = !part;
  at("asked").textContent = words(part ? "thisPart" : "whichPart", { reason: word, part: part?.title });
  if (!isTapped) at(part ? "yes" : "no").focus(); // who taps does not press a key next, but a scanner may
  askedFor = setTimeout(() => ask(null), ASKED_MS);
}

let undone = -Infinity; // when it was pressed last

at("undo").addEventListener("click", () => {
  const isTwice = performance.now() - undone < SAME_MS;
  if (isTwice) {
    at("twice").textContent = words("undoneTwice");
  } else {
    undone = performance.now();
    takeBack();
  }
});

function takeBack(card = "") {
  if (asked) ask(null);
  take("undo", (isKept() && meant) || card);
}

at("reasons").addEventListener("click", ({ target, detail }) => target.value && ask(target.value, target.textContent, detail > 0));
at("no").addEventListener("click", () => ask(null));
at("yes").addEventListener("click", () => {
  take("damaged", asked.part.code, { reason: asked.reason });
  ask(null);
});

// The camera and photos

async function send(jpeg) {
  try {
    const { status, data } = await call(floor.picture, { method: "POST", body: jpeg, within: PICTURE_MS });
    return status === 200 ? data : { isUnread: true, says: data?.detail ?? words("away") };
  } catch {
    return { isUnread: true, says: words("away") };
  }
}

const say = (text) => (at("seen").textContent = text);
const onSeen = (code) => onCode(code, { repeated: false });
const eye = camera(at("video"), { send, onCode: onSeen, onSay: say });

at("camera").hidden = !navigator.mediaDevices?.getUserMedia;
at("camera").addEventListener("click", async () => {
  at("view").hidden = false;
  if (!(await eye.start())) {
    at("view").hidden = true;
    say(words("noCamera"));
  }
});
at("camera-off").addEventListener("click", () => {
  eye.stop();
  at("view").hidden = true;
  say("");
});
at("photo").addEventListener("change", async ({ target }) => {
  const [file] = target.files;
  if (!file) return;
  say(words("reading"));
  const found = await readPhoto(file, { send });
  say(found.code ?? found.says);
  if (found.code) onSeen(found.code);
  target.value = "";
});

// What was scanned last and what waits

/* What was asked for before the last answer came would take that back: it is asked for again. */
function fill(lists) {
  if (lists.change < change) return false;
  showWho(lists);
  if (!isKept() && at("undoes").textContent !== UNKNOWN) nameUndo(lists.undoes);
  at("recent").innerHTML = lists.recent;
  at("waiting").innerHTML = lists.waiting;
  return true;
}

function nameUndo(what) {
  at("undoes").textContent = what;
}

function showWho({ who, by = "", nobody }) {
  at("who").textContent = who;
  at("who").dataset.by = by; // the outbox keeps it with what is read
  at("nobody").hidden = !nobody;
}

const refresh = poll(floor.now, fill, { every: 2000, fresh: true });
