/* What keys mean that may come from a scanner, from a scale, or from somebody who works by keyboard: decided from plain values.
 *
 *   const reader = keyReader({ weighs });   weighs: whether a mass is a reading in a field, too
 *   reader.press({ key, code, shift, ctrl, alt, meta, altGraph, repeat, at, where })   one key that goes down -> what follows from it
 *   reader.idle()    no key came for as long as idleMs(where) -> what follows from that
 *
 * `at` is when the key was pressed, in ms by any clock. `where` is what has the focus:
 *   "page"    nothing that takes keys: whatever is shaped like a code or a mass and ends with Enter or Tab is a reading
 *   "button"  the same, but this key would press it
 *   "field"   a field to type in: only what comes as fast as no hand types, and is shaped like a code, is a reading
 *   "deaf"    a field in which nothing is heard, as one for a password
 *
 * What follows: `swallow` the page must not have the key; `reading` a text, shaped like a code or a mass; `unclear` {text, why}: keys
 * came that make none (why: "noCode", "noMass", "slow" or "noEnd"); `hold` the key presses what has the focus unless another comes within LONE_MS;
 * `wait` that time begins anew; `now` what is held is pressed at once; `drop` it is not pressed. For a field: `first` a reading may begin
 * with this key, `give` the text that was swallowed belongs to the field, `restore` the field is as it was before.
 */

import { codeIn, isCode, isShaped } from "./codes.js";

export const PAGE_MS = 220; // the longest time between two keys of a reading: 200, and room for a clock that is not exact
export const LONE_MS = 250; // no key of a reading comes after it
const CHAIN_MS = 1000; // keys slower than that have nothing to do with each other
const FIELD_MS = 50; // who types seldom stays below it for long
const SUFFIX_MS = 120; // in a field, until the Enter after the last key
const IDLE_MS = 200; // in a field it looks like typing then
const SHORTEST = 3; // signs that are more than a slip of the hand
const LONGEST = 500; // a link may be so long, no code is
const MASS = /^\+?\s*[0-9]{1,5}(?:[.,][0-9]{1,4})?\s*(?:kg|lb)?$/i; // as tracker/pages/bench/scale.py reads it
const WEIGHED = /[0-9]\s*(?:kg|g|lbs?|oz|t)$/i; // a scale's line, whatever else is in it
const MODIFIERS = new Set(["Shift", "CapsLock", "Control", "Alt", "AltGraph", "Meta", "NumLock", "Fn"]);
const ENDS = new Set(["Enter", "Tab"]);
const END_LETTERS = new Set(["KeyM", "KeyJ", "KeyI"]); // with Ctrl: CR, LF and TAB, as some scanners send them
const GROUP_SEPARATOR = "\u001d"; // stands for FNC1; some scanners type it as Ctrl and a bracket

export const idleMs = (where) => (where === "field" ? IDLE_MS : CHAIN_MS);
export const isMass = (text) => MASS.test(text);

export function keyReader({ weighs = false } = {}) {
  let keys = []; // {us, own, raw} of the reading that may be coming in
  let chain = ""; // the signs that came one after the other, however slowly
  let isBroken = false; // the chain has pauses that no reading has
  let where = "page";
  let given = 1; // how many of the keys the field has: the first one, and what was given back
  let isLong = false; // more keys came than a reading has
  let latest = -Infinity; // when the last key came
  let signed = -Infinity; // when the last key of a reading came, or its end

  function press(key) {
    if (key.where === "deaf") return typed();
    const gap = key.at - latest;
    if (MODIFIERS.has(key.key)) {
      if (isField(key.where)) return {};
      if (gap <= PAGE_MS) latest = key.at; // Shift before a capital letter takes its time
      return { wait: true };
    }
    latest = key.at;
    const changed = keys.length && isField(where) !== isField(key.where) ? typed() : {};
    where = key.where;
    return { ...changed, ...(isField(where) ? inField(key, gap) : onPage(key, gap)) };
  }

  function forget() {
    keys = [];
    chain = "";
    isBroken = false;
    given = 1;
    isLong = false;
  }

  // Outside fields

  function onPage(key, gap) {
    if (gap > CHAIN_MS) forget();
    if (gap > PAGE_MS) {
      isBroken = chain !== "";
      keys = [];
    }
    if (isEnd(key, keys.length > 0 || isTail(key.at))) return endOnPage(key);
    const sign = signOf(key);
    if (!sign && !(chain && isControl(key))) return noSign();
    if (key.repeat) return { swallow: where === "button" };
    const isHeld = where === "button" && isLone(key.at);
    if (sign) add(sign);
    if (isHeld) return { swallow: true, hold: true };
    signed = key.at;
    return { swallow: where === "button" || keys.length > 1, drop: true };
  }

  function noSign() {
    forget();
    signed = -Infinity;
    return { now: true };
  }

  function endOnPage({ key, at, repeat }) {
    const isHeld = where === "button";
    if (repeat) return { swallow: isHeld };
    const text = reading();
    if (isCode(text) || (!isBroken && isMeant(text))) return { ...ended(at), reading: text };
    if (chain.length >= SHORTEST || (chain && key !== "Tab" && at - signed <= LONE_MS)) {
      const unclear = isBroken ? { text: chain, why: "slow" } : { text, why: weighs && WEIGHED.test(text) ? "noMass" : "noCode" };
      return { ...ended(at), unclear };
    }
    if (!chain && isTail(at)) return { swallow: true };
    if (key === "Tab") return noSign();
    const hold = isHeld && isLone(at);
    forget();
    return { swallow: isHeld, hold };
  }

  function ended(at) {
    forget();
    signed = at;
    return { swallow: true, drop: true };
  }

  const isLone = (at) => at - signed > LONE_MS && chain.length < SHORTEST;

  // What comes right after the end of a reading is its second half, as LF after CR.
  const isTail = (at) => !keys.length && at - signed <= LONE_MS;

  // In a field

  function inField(key, gap) {
    if (isEnd(key, keys.length > 0)) return endInField(gap);
    const sign = signOf(key);
    if (!sign?.own) return typed();
    const isFast = keys.length > 0 && gap <= FIELD_MS && !key.repeat;
    if (isFast && isLong) return {};
    const before = isFast ? { swallow: true } : { ...typed(), first: true };
    add(sign);
    return isLong ? { ...before, ...giveBack() } : before;
  }

  // Somebody who types fast into a field is no scanner, unless a whole code comes of it. A scale shows itself by its decimals or unit.
  function endInField(gap) {
    const text = reading();
    const isReading = isShaped(text) || (weighs && isMass(text) && /[.,a-z]/i.test(text));
    if (gap > SUFFIX_MS || keys.length < SHORTEST || !isReading) return typed();
    forget();
    return { swallow: true, restore: true, reading: text };
  }

  // The keys stay known: on a busy page the rest of a reading may come after the timer, and then it takes the text back.
  function giveBack() {
    const swallowed = keys.slice(given).map(({ raw }) => raw).join("");
    given = Math.max(given, keys.length);
    return swallowed ? { give: swallowed } : {};
  }

  function typed() {
    const back = isField(where) ? giveBack() : {};
    forget();
    return back;
  }

  // Both

  function add(sign) {
    if (sign.own !== " ") chain = (chain + (sign.own || sign.us)).slice(0, LONGEST);
    keys.push(keys.length < LONGEST ? sign : { ...sign, us: "", own: "" });
    isLong ||= keys.length > LONGEST;
  }

  function reading() {
    const [us, own] = ["us", "own"].map((layout) => codeIn(keys.map((sign) => sign[layout]).join("").replaceAll(/^ +| +$/g, "")));
    return [us, own].find(isCode) ?? [us, own].find(isMeant) ?? own;
  }

  // A label without an end is told; keys that were late on a busy page still make a reading.
  function idle() {
    if (isField(where)) return giveBack();
    const text = reading();
    const isUnended = keys.length >= SHORTEST && (isMeant(text) || text.length >= 11);
    return isUnended ? { unclear: { text, why: "noEnd" } } : {};
  }

  return { press, idle };
}

const isField = (where) => where === "field";
const isMeant = (text) => isShaped(text) || isMass(text);

// What a scanner sends beside the text: STX, ETX and the like.
const isControl = ({ key, ctrl }) => ctrl || key < " " || key === "Unidentified";

function isEnd({ key, code, ctrl, alt, meta, shift }, isControlMeant) {
  if (alt || meta) return false;
  return ctrl ? isControlMeant && END_LETTERS.has(code || `Key${key.toUpperCase()}`) : ENDS.has(key) && !shift;
}

// A sign as a scanner for the US layout means the key (`us`), and as this computer's layout has it (`own`): a scanner is set to one of the
// two. `raw` is what a field would get. None for keys that type nothing, and for shortcuts.
function signOf({ key, code, shift, ctrl, alt, meta, altGraph }) {
  if (ctrl && (key === "]" || code === "BracketRight") && !altGraph && !alt) return { us: GROUP_SEPARATOR, own: GROUP_SEPARATOR, raw: "" };
  if ((ctrl || alt || meta) && !altGraph) return null;
  const isTyped = key.length === 1 && key >= " ";
  if (!isTyped && !["Dead", "Unidentified", "Process"].includes(key)) return null;
  const own = isTyped ? key : "";
  const us = onUs(code, shift) ?? own;
  return us || own ? { us, own, raw: own } : null;
}

const SHIFTED_DIGITS = ")!@#$%^&*(";
const US = {
  ...{ Space: "  ", Minus: "-_", Equal: "=+", BracketLeft: "[{", BracketRight: "]}", Backslash: "\\|", Semicolon: ";:", Quote: "'\"" },
  ...{ Comma: ",<", Period: ".>", Slash: "/?", NumpadDecimal: "..", NumpadAdd: "++" },
};

function onUs(code, shift) {
  const [, letter, digit, pad] = /^(?:Key([A-Z])|Digit([0-9])|Numpad([0-9]))$/.exec(code) ?? [];
  if (digit && shift) return SHIFTED_DIGITS[digit];
  return letter ?? digit ?? pad ?? US[code]?.[shift ? 1 : 0];
}
