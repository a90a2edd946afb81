/* The station's screen. A reading gets its id when it is made; while one is on its way the next waits its turn, and one that the
 * server did not answer is sent again with the same id. The screen need never be touched. */

import { call, newId, poll, words } from "./call.js";
import { listen } from "./scanner.js";
import { camera, readPhoto } from "./station_camera.js";
import { sound } from "./station_sound.js";

const RETRY_MS = [500, 1000, 2000, 5000];
const MOST_FAILURES = 4; // of the service itself, over one reading
const SAME_MS = 1500;
const ASKED_MS = 20000; // a question that nobody answers goes away
const at = (id) => document.getElementById(id);
const floor = at("floor").dataset;

localStorage.setItem("station", location.pathname);

// Readings, one after the other

const readings = [];
let sending = false;
let lastPart = null; // {code, title} of the last part that was answered

function take(action, code, more = {}) {
  queue(floor.scan, { id: newId(), at: new Date().toISOString(), action, code, ...more }, show);
}

/* A badge waits its turn too: what was scanned before it was scanned by whoever worked here before. */
function greet(code) {
  queue(floor.badge, { code }, showWorker);
}

function queue(path, body, onAnswer) {
  readings.push({ path, body, onAnswer });
  showQueue(false);
  sendAll();
}

async function sendAll() {
  if (sending) return;
  sending = true;
  for (let tries = 0; readings.length; ) {
    if (await sendFirst(tries)) {
      tries = 0;
    } else {
      showQueue(true);
      await new Promise((resolve) => setTimeout(resolve, RETRY_MS[Math.min(tries++, RETRY_MS.length - 1)]));
    }
  }
  sending = false;
  showQueue(false);
  refresh();
}

/* Send the first reading; true when it is dealt with: answered, or refused for good. One that the service fails over again and
 * again must not hold up the station: it is said so, and the worker scans it anew. */
async function sendFirst(tries) {
  const { path, body, onAnswer } = readings[0];
  let answer;
  try {
    answer = await call(path, { method: "POST", body });
  } catch {
    return false;
  }
  if (answer.status === 429 || answer.status > 500 || (answer.status === 500 && tries < MOST_FAILURES)) return false;
  readings.shift();
  if (answer.status === 200) onAnswer(answer.data);
  else showRefused(answer.data);
  return true;
}

function showQueue(away) {
  const waiting = readings.length - (sending && !away ? 1 : 0);
  at("queue").textContent = waiting > 0 ? `${words("queued")} ${waiting}. ${away ? words("away") : ""}` : "";
}

// Answers

function show(told) {
  paint(told.sound, told.html);
  at("answer").dataset.outcome = told.outcome;
  if (told.part) lastPart = { code: told.part, title: told.title };
}

function showWorker({ name }) {
  at("who").textContent = name;
  at("answer").dataset.outcome = "badge";
  paint("ok", bigWord(`${words("badge")}, ${name}`));
}

function showRefused(problem) {
  at("answer").dataset.outcome = "refused";
  const says = Object.assign(document.createElement("p"), { className: "told-says", textContent: problem?.detail ?? "" });
  paint("stop", bigWord(words("refused")) + says.outerHTML);
}

function bigWord(text) {
  const word = Object.assign(document.createElement("p"), { className: "told-word" });
  word.append(Object.assign(document.createElement("strong"), { textContent: text }));
  return word.outerHTML;
}

function paint(kind, html) {
  const answer = at("answer");
  answer.innerHTML = html;
  answer.dataset.sound = kind;
  answer.classList.remove("fresh");
  void answer.offsetWidth; // so that the same answer twice is seen twice
  answer.classList.add("fresh");
  sound(kind);
}

// Scans: the keyboard scanner, the typed code, the camera

const last = { code: "", at: -Infinity };

function onCode(text, { repeated }) {
  const code = text.toUpperCase();
  if (repeated) {
    at("queue").textContent = words("twice");
  } else if (/^W[0-9]{10}$/.test(code)) {
    greet(code);
  } else if (asked && /^P[0-9]{10}$/.test(code)) {
    take("damaged", code, { reason: asked });
    ask(null);
  } else {
    take("pass", text);
  }
}

/* The same label twice within a moment is one intention, whoever reads it. */
function onSeen(code) {
  const now = performance.now();
  const repeated = code === last.code && now - last.at < SAME_MS;
  Object.assign(last, { code, at: now });
  if (!repeated) onCode(code, { repeated });
}

listen(onCode, { field: at("code") });

// Undo and damage

let asked = null; // the reason that waits for a part
let askedFor = 0;

function ask(reason, word = "") {
  clearTimeout(askedFor);
  asked = reason;
  at("confirm").hidden = !reason;
  at("reasons").hidden = Boolean(reason);
  if (!reason) return;
  at("yes").hidden = !lastPart;
  const question = words(lastPart ? "thisPart" : "whichPart");
  at("asked").textContent = question.replace("{reason}", word).replace("{part}", lastPart?.title ?? "");
  at(lastPart ? "yes" : "no").focus();
  askedFor = setTimeout(() => ask(null), ASKED_MS);
}

at("undo").addEventListener("click", () => take("undo", ""));
at("reasons").addEventListener("click", ({ target }) => target.value && ask(target.value, target.textContent));
at("no").addEventListener("click", () => ask(null));
at("yes").addEventListener("click", () => {
  take("damaged", lastPart.code, { reason: asked });
  ask(null);
});

// The camera and photos

async function send(jpeg) {
  try {
    const { status, data } = await call(floor.picture, { method: "POST", body: jpeg });
    return status === 200 ? data : { code: null, says: data.detail };
  } catch {
    return { code: null, says: words("away") };
  }
}

const say = (text) => (at("seen").textContent = text);
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

function fill({ recent, waiting }) {
  at("recent").innerHTML = recent;
  at("waiting").innerHTML = waiting;
  tellTimes();
}

/* Times in the device's own zone. */
function tellTimes() {
  const clock = { hour: "2-digit", minute: "2-digit" };
  for (const time of document.querySelectorAll("#recent time")) {
    time.textContent = new Date(time.dateTime).toLocaleTimeString(document.documentElement.lang, clock);
  }
}

tellTimes();
const refresh = poll(floor.now, fill, { every: 2000, fresh: true });
