/* Reads a keyboard scanner (and a scale that types) anywhere on a page.
 *
 *   import { listen } from "./scanner.js";
 *   const stop = listen(onCode, { onMass, onUnclear, field });
 *
 * onCode(code, { repeated })   a code was scanned, or typed into `field` and entered: capital letter and ten digits, or the SSCC of a
 *                              box with what its scanner sends before it. `repeated`: the same code came within the last 1.5 s:
 *                              show it, but do not send it again.
 * onMass(text)                 a scale's "23.45 kg"; without it a mass is not understood.
 * onUnclear(text, why)         keys that a scanner may have sent and that make no reading: "noCode" nothing of the shop's, "noMass" a scale's
 *                              line that has more than a number and its unit, "slow" they
 *                              came too slowly, "noEnd" neither Enter nor Tab came after them. Say so, with a sound.
 * field                        the visible input in a form for typing a code by hand; may be left out.
 * stop()                       takes the listeners away.
 *
 * What keys mean is decided by keys.js; here they are heard, in the capture phase, and kept from the page where they are a reading's.
 * A tap takes the focus from what was tapped, so that no key presses it later.
 */

import { codeIn, isShaped } from "./codes.js";
import { idleMs, isMass, keyReader, LONE_MS } from "./keys.js";

const SAME_MS = 1500; // the same label read twice within this is one intention
const DEAF = new Set(["password", "date", "time", "month", "week", "datetime-local"]); // types of fields
const TYPED_INTO = "textarea, select, [contenteditable]";
const PRESSED_BY = { Enter: "button, summary, a[href]", " ": "button, summary" };
const TICKED = new Set(["checkbox", "radio"]);
const BUTTONS = new Set(["button", "submit", "reset", "file", "image"]);

export function listen(onCode, { onMass, onUnclear, field }) {
  const away = new AbortController();
  const last = { code: "", at: -Infinity };
  const reader = keyReader({ weighs: Boolean(onMass) });
  let before = null; // the field that a reading may be coming into, and what it held
  let idle = 0;
  let held = null; // {target, timer}: what a lone Space or Enter is about to press

  const read = (text, at) => {
    if (isMass(text) && onMass) return onMass(text);
    if (!isShaped(text)) return onUnclear(text, "noCode");
    const code = codeIn(text).trim().toUpperCase();
    const repeated = code === last.code && at - last.at < SAME_MS;
    if (!repeated) Object.assign(last, { code, at });
    return onCode(code, { repeated });
  };

  const follow = ({ give, first, restore, reading, unclear }, at) => {
    if (give && before?.input === document.activeElement) document.execCommand("insertText", false, give);
    if (first) before = { input: document.activeElement, value: document.activeElement.value };
    if (restore && before) {
      before.input.value = before.value; // the first key went into it before anybody could know
      before.input.dispatchEvent(new Event("input", { bubbles: true }));
    }
    if (reading) read(reading, at);
    if (unclear) onUnclear(unclear.text, unclear.why);
  };

  const onKey = (event) => {
    const where = placeOf(document.activeElement, event.key);
    const told = reader.press({ ...plain(event), where });
    if (told.swallow) swallow(event);
    press(told);
    follow(told, event.timeStamp);
    clearTimeout(idle);
    idle = setTimeout(() => follow(reader.idle()), idleMs(where));
  };

  const press = ({ hold, wait, now, drop }) => {
    const target = hold ? document.activeElement : held?.target;
    if (!target || !(hold || wait || now || drop)) return;
    clearTimeout(held?.timer);
    held = null;
    if (now) pressOn(target);
    else if (!drop) held = { target, timer: setTimeout(() => press({ now: true }), LONE_MS) };
  };

  const onTyped = (event) => {
    event.preventDefault();
    const text = field.value;
    field.value = "";
    if (text.trim()) onCode(codeIn(text).trim().toUpperCase(), { repeated: false });
  };

  window.addEventListener("keydown", onKey, { capture: true, signal: away.signal });
  window.addEventListener("keyup", onKeyUp, { capture: true, signal: away.signal });
  window.addEventListener("click", onTap, { capture: true, signal: away.signal });
  field?.form?.addEventListener("submit", onTyped, { signal: away.signal });
  return () => away.abort();
}

function plain(event) {
  const { key, code, shiftKey: shift, ctrlKey: ctrl, altKey: alt, metaKey: meta, repeat, timeStamp: at } = event;
  return { key, code, shift, ctrl, alt, meta, altGraph: event.getModifierState("AltGraph"), repeat, at };
}

function swallow(event) {
  event.preventDefault();
  event.stopImmediatePropagation();
}

/* Where a key goes, as keys.js asks for it. */
function placeOf(focused, key) {
  if (DEAF.has(focused?.type)) return "deaf";
  if (isField(focused)) return "field";
  return isPressedBy(focused, key) ? "button" : "page";
}

const isField = (focused) => isInput(focused) ? !TICKED.has(focused.type) && !BUTTONS.has(focused.type) : Boolean(focused?.matches(TYPED_INTO));
const isInput = (focused) => focused instanceof HTMLInputElement;

function isPressedBy(focused, key) {
  if (isInput(focused)) return BUTTONS.has(focused.type) ? [" ", "Enter"].includes(key) : TICKED.has(focused.type) && key === " ";
  return Boolean(focused?.matches(PRESSED_BY[key] ?? "none"));
}

/* Some browsers press a button when Space goes up. */
function onKeyUp(event) {
  if (event.key === " " && isPressedBy(document.activeElement, " ")) swallow(event);
}

/* What was drawn anew meanwhile has given its focus to what stands there now. */
function pressOn(target) {
  const there = target.isConnected ? target : document.activeElement;
  if (there.tagName === target.tagName) there.click();
}

/* Before what the tap does: a dialog that it opens gives the focus back to whatever had it. */
function onTap({ detail }) {
  const tapped = document.activeElement;
  if (detail > 0 && (isPressedBy(tapped, "Enter") || isPressedBy(tapped, " "))) tapped.blur();
}
