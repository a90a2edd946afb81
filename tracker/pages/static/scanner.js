/* Reads a keyboard scanner (and a scale that types) anywhere on a page.
 *
 *   import { listen } from "./scanner.js";
 *   const stop = listen(onCode, { onText, isText, field });
 *
 * onCode(code, { at, repeated })  a code was scanned, or typed into `field` and entered: capital letter and ten digits, or the SSCC of
 *                                 a box with what its scanner sends before it. `at` is the
 *                                 event's time (ms, as performance.now() counts); `repeated` says that the same code came within
 *                                 the last 1.5 s: show it, but do not send it again.
 * onText(text, { at })            anything else that was typed as fast as a scanner does, ended by Enter: a scale's "23.45 kg", a
 *                                 label of somebody else. Without it such text goes to onCode, so that it is answered as misread.
 * isText(text)                    what besides a code is a reading while somebody may be typing into a field; nothing without it.
 * field                           the visible input in a form for typing a code by hand; may be left out.
 * stop()                          takes the listeners away.
 *
 * Keys are timed by event.timeStamp: a busy page does not stretch it. They are heard in the capture phase, and from the second fast
 * one on they are kept from the page, so that Enter clicks nothing; what turns out to be somebody typing fast is given back. In a
 * field for a password nothing is heard, nor in one to which nothing can be given back.
 */

import { codeIn } from "./codes.js";

const FAST_MS = 50; // between two keys of a scanner; who types by hand seldom stays below it for long
const SUFFIX_MS = 120; // until the Enter after the last key
const IDLE_MS = 200; // then it looks like typing
const SHORTEST = 3; // characters that make a reading
const LONGEST = 80; // no code of anybody is longer; the rest is swallowed with it
const SAME_MS = 1500; // the same label read twice within this is one intention
const CODE = /^(?:[A-Z][0-9]{10}|(?:\]C1)?\u001d?(?:00)?[0-9]{18})$/; // a code of the shop, or the SSCC of a box
const DEAF = new Set(["password", "date", "time", "month", "week", "datetime-local"]); // types of fields
const MODIFIERS = new Set(["Shift", "CapsLock", "Control", "Alt", "AltGraph", "Meta", "NumLock", "Fn"]);

export function listen(onCode, { onText, isText = () => false, field } = {}) {
  const away = new AbortController();
  const last = { code: "", at: -Infinity };
  let keys = []; // {sign, raw, at} of the reading that may be coming in
  let before = null; // what the focused input held before the first key
  let idle = 0;
  let given = 1; // how many of the keys the page has: the first one, and what was given back
  let latest = -Infinity; // when the last key came
  let isLong = false; // more keys came than a reading has: the rest goes to the field, or nowhere

  const tell = (text, at) => {
    const code = codeIn(text).trim().toUpperCase();
    if (!CODE.test(code) && onText) return onText(text.trim(), { at });
    const repeated = code === last.code && at - last.at < SAME_MS;
    if (!repeated) Object.assign(last, { code, at });
    return onCode(code, { at, repeated });
  };

  const forget = () => {
    clearTimeout(idle);
    keys = [];
    before = null;
    given = 1;
    isLong = false;
  };

  // The keys stay known: on a busy page the rest of a reading may come after the timer, and then it takes the text back.
  const giveBack = () => {
    const swallowed = keys.slice(given).map((key) => key.raw).join("");
    given = Math.max(given, keys.length);
    if (swallowed && before && before.input === document.activeElement) document.execCommand("insertText", false, swallowed);
  };

  const typed = () => {
    giveBack();
    forget();
  };

  const read = () => keys.map((key) => key.sign).join("");

  // Somebody who types fast into a field is no scanner, unless a whole code comes of it.
  const isReading = () => keys.length >= SHORTEST && (!before || CODE.test(codeIn(read()).trim().toUpperCase()) || isText(read().trim()));

  const finish = (at) => {
    const text = read();
    if (before) {
      before.input.value = before.value; // the first key went into it before anybody could know
      before.input.dispatchEvent(new Event("input", { bubbles: true }));
    }
    forget();
    tell(text, at);
  };

  const swallow = (event) => {
    event.preventDefault();
    event.stopImmediatePropagation();
  };

  const onKey = (event) => {
    if (MODIFIERS.has(event.key)) return;
    if (DEAF.has(document.activeElement?.type)) return typed();
    const gap = event.timeStamp - latest;
    latest = event.timeStamp;
    if (event.key === "Enter" || event.key === "Tab") {
      if (gap <= SUFFIX_MS && isReading()) {
        swallow(event);
        finish(event.timeStamp);
      } else {
        typed();
      }
      return;
    }
    const sign = isSeparator(event) ? "\u001d" : event.ctrlKey || event.altKey || event.metaKey ? "" : signOf(event);
    if (!sign) return typed();
    if (keys.length && gap <= FAST_MS && !event.repeat) {
      if (isLong && before) return;
      swallow(event);
    } else {
      typed();
      before = heldBy(document.activeElement);
    }
    if (keys.length < LONGEST) keys.push({ sign, raw: event.key });
    else overflow(event);
    clearTimeout(idle);
    idle = setTimeout(() => (isLong && !before ? finish(event.timeStamp) : giveBack()), IDLE_MS);
  };

  const overflow = (event) => {
    if (!isLong && before) {
      keys.push({ sign: "", raw: event.key });
      giveBack();
    }
    isLong = true;
  };

  const onTyped = (event) => {
    event.preventDefault();
    const text = field.value;
    field.value = "";
    if (text.trim()) onCode(codeIn(text).trim().toUpperCase(), { at: event.timeStamp, repeated: false });
  };

  window.addEventListener("keydown", onKey, { capture: true, signal: away.signal });
  field?.form?.addEventListener("submit", onTyped, { signal: away.signal });
  return () => away.abort();
}

/* The group separator, which stands for FNC1: some scanners type it as Ctrl and a bracket. */
function isSeparator(event) {
  return event.ctrlKey && event.key === "]";
}

/* The character on the key itself, whatever the layout or Caps Lock make of it: codes are one letter and digits. */
function signOf(event) {
  const named = /^(?:Key([A-Z])|(?:Digit|Numpad)([0-9]))$/.exec(event.code);
  if (named) return named[1] ?? named[2];
  return event.key.length === 1 ? event.key : "";
}

function heldBy(input) {
  const typed = input instanceof HTMLInputElement || input instanceof HTMLTextAreaElement;
  return typed && !["checkbox", "radio", "button", "submit", "file"].includes(input.type) ? { input, value: input.value } : null;
}
