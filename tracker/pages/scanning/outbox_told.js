/* What stands on a page of its outbox: how many readings wait and how old, what must be put right, and what the page lacks.
 *
 *   const show = outboxShown();   show.state(state) as the outbox's onChange gives it; show.use(outbox) once it is open
 *   toldNoted(entry)                 {kind, word, says, isNothing} of a reading that is kept and not yet sent; isNothing: an undo will not mean it
 */

import { stayWhenSignedOut, words } from "../frame/call.js";
import { NO_PART } from "./shown_part.js";
import { sound } from "./station_sound.js";

const LONG_MS = 2000; // what is sent at once is not spoken of
const MINUTE_MS = 60_000;
const byId = (id) => document.getElementById(id);

export function outboxShown() {
  const known = new Set();
  let isFirst = true;
  let outbox = null;

  stayWhenSignedOut((isOut) => {
    byId("signed-out").hidden = !isOut;
    if (isOut) byId("who").dataset.by = ""; // what is read now is theirs who sign in next
  });

  function state({ count, oldest, isAway, why, isUnkept, told }) {
    const isShown = count > 0 && (isAway || !byId("unsent").hidden || Date.now() - oldest > LONG_MS);
    byId("unsent").hidden = !isShown;
    if (isShown) setText(byId("unsent-says"), words("unsent", { count, age: age(Date.now() - oldest) }));
    byId("away").hidden = !isAway || !byId("signed-out").hidden; // a server that wants a sign-in answers
    setText(byId("away-says"), why || words("serverAway"));
    byId("unkept").hidden = !isUnkept;
    showTold(told);
  }

  function showTold(told) {
    const list = byId("corrections").querySelector("ol");
    const fresh = told.filter(({ id }) => !known.has(id));
    for (const { id } of fresh) known.add(id);
    if (fresh.length || list.children.length !== told.length) list.replaceChildren(...told.map(line));
    byId("corrections").hidden = !told.length;
    if (fresh.length && !isFirst) sound("stop");
    isFirst = false;
  }

  function line(note) {
    const item = byId("correction").content.firstElementChild.cloneNode(true);
    const put = (name, text) => (item.querySelector(`.${name}`).textContent = text);
    put("told-otherwise", note.word || words("setAside"));
    put("which", note.what);
    put("why", note.says);
    put("when", timeOfDay(note.read, byId("corrections").dataset.zone));
    item.querySelector(".seen").addEventListener("click", () => outbox.seen(note));
    const again = item.querySelector(".again");
    again.hidden = !note.isRefused;
    again.addEventListener("click", () => outbox.seen(note, { again: true }));
    return item;
  }

  return {
    state,
    use(opened) {
      outbox = opened;
      byId("send-now").addEventListener("click", () => outbox.wake());
    },
  };
}

export function toldNoted({ body, isMisread }) {
  if (isMisread) return { kind: "look", word: words("misread"), says: words("noCode"), isNothing: true };
  if (body.part === NO_PART) return { kind: "look", word: words("nothingMarked"), says: words("noPart"), isNothing: true };
  return { kind: "kept", word: words("noted"), says: words("notedSays"), isNothing: false };
}

function setText(place, text) {
  if (place.textContent !== text) place.textContent = text;
}

/* On the shop's clock; on the device's where an old browser does not know the shop's time zone. */
function timeOfDay(when, timeZone) {
  const clock = { hour: "2-digit", minute: "2-digit", hourCycle: "h23" };
  try {
    return new Date(when).toLocaleTimeString(document.documentElement.lang, { ...clock, timeZone });
  } catch {
    return new Date(when).toLocaleTimeString(document.documentElement.lang, clock);
  }
}

function age(ms) {
  const minutes = Math.floor(ms / MINUTE_MS);
  if (minutes < 1) return words("ageNow");
  if (minutes < 60) return words("ageMinutes", { minutes });
  return words("ageHours", { hours: Math.floor(minutes / 60), minutes: minutes % 60 });
}
