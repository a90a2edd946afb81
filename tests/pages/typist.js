/* A scanner, a scale, or somebody who types, of a known layout at a computer of another, on the clock of its own. */

const US = { " ": ["Space", 0], "-": ["Minus", 0], "=": ["Equal", 0], "+": ["Equal", 1], "[": ["BracketLeft", 0], "]": ["BracketRight", 0],
  ";": ["Semicolon", 0], ":": ["Semicolon", 1], ",": ["Comma", 0], ".": ["Period", 0], "/": ["Slash", 0], "(": ["Digit9", 1], ")": ["Digit0", 1] };
const GERMAN = { " ": ["Space", 0], "-": ["Slash", 0], "+": ["BracketRight", 0], "=": ["Digit0", 1], ":": ["Period", 1], ".": ["Period", 0],
  ",": ["Comma", 0], ";": ["Comma", 1], "/": ["Digit7", 1], "(": ["Digit8", 1], ")": ["Digit9", 1], "]": ["Digit9", 2], "[": ["Digit8", 2] };
const SEEN = { us: invert(US), german: invert(GERMAN) };

function invert(layout) {
  return Object.fromEntries(Object.entries(layout).map(([sign, [code, shift]]) => [`${code} ${shift}`, sign]));
}

// The scanner is set to one layout and the computer to another.
export function keysOf(sign, scanner, computer) {
  const control = { "\u0002": "KeyB", "\u0003": "KeyC", "\u001d": "BracketRight", "Ctrl+J": "KeyJ", "Ctrl+M": "KeyM" }[sign];
  if (control) return [{ key: control === "BracketRight" ? SEEN[computer]["BracketRight 0"] : control.at(-1).toLowerCase(), code: control, ctrl: true }];
  if (sign === "Enter" || sign === "Tab") return [{ key: sign, code: sign }];
  const swap = (letter, layout) => (layout === "german" ? ({ Y: "Z", Z: "Y" }[letter] ?? letter) : letter);
  if (/[A-Z]/i.test(sign)) {
    const place = swap(sign.toUpperCase(), scanner);
    const seen = swap(place, computer);
    const shift = sign !== sign.toLowerCase();
    const key = { key: shift ? seen : seen.toLowerCase(), code: `Key${place}`, shift };
    return shift ? [{ key: "Shift", code: "ShiftLeft", shift: true }, key] : [key];
  }
  if (/[0-9]/.test(sign)) return [{ key: sign, code: `Digit${sign}` }];
  const [code, level] = (scanner === "us" ? US : GERMAN)[sign];
  const key = SEEN[computer][`${code} ${level}`] ?? "Dead";
  const altGraph = level === 2;
  return [{ key, code, shift: level === 1, altGraph, ctrl: altGraph, alt: altGraph }];
}

// What becomes of the keys, each `delay` after the one before, with the focus on a button: readings, and whether it was pressed.
// Some tablets do not say where on the keyboard a key is (isNameless).
export function send(keyReader, signs, { delay, scanner = "us", computer = "us", isNameless = false, focus = "button", weighs = false, at = 0 }) {
  const reader = keyReader({ weighs });
  const seen = { readings: [], unclear: [], pressed: 0, kept: [] };
  let held = Infinity;
  let now = at;
  for (const sign of signs) {
    now += delay;
    if (sign === "Pause") now += 300;
    else for (const key of keysOf(sign, scanner, computer)) {
      if (isNameless) key.code = "";
      if (held + 250 < now) (seen.pressed += 1), (held = Infinity);
      const presses = focus === "button" && (key.key === "Enter" || key.key === " ") && !key.ctrl;
      const told = reader.press({ repeat: false, ...key, at: now, where: focus === "field" ? "field" : presses ? "button" : "page" });
      if (told.hold) held = now;
      if (told.wait && held < Infinity) held = now;
      if (told.now && held < Infinity) (seen.pressed += 1), (held = Infinity);
      if (told.drop) held = Infinity;
      if (presses && !told.swallow) seen.pressed += 1;
      if (told.reading !== undefined) seen.readings.push(told.reading);
      if (told.unclear) seen.unclear.push([told.unclear.text, told.unclear.why]);
      if (!told.swallow) seen.kept.push(sign);
    }
  }
  const idle = reader.idle();
  if (idle.unclear) seen.unclear.push([idle.unclear.text, idle.unclear.why]);
  if (held < Infinity) seen.pressed += 1;
  return seen;
}

// Every text with every prefix, suffix and pair of layouts, at every delay that is asked for: what did not come out right.
export function sweep(keyReader, texts, prefixes, suffixes, edges) {
  const all = Array.from({ length: 250 }, (_none, place) => place + 1);
  const wrong = [];
  let tried = 0;
  for (const [text, wanted] of Object.entries(texts))
    for (const prefix of prefixes)
      for (const suffix of suffixes)
        for (const [scanner, computer, isNameless] of [["us", "us"], ["us", "german"], ["german", "german"], ["us", "us", true]])
          for (const delay of prefix === " " && suffix.length === 1 ? all : edges) {
            tried += 1;
            const seen = send(keyReader, [...prefix, ...text, ...suffix], { delay, scanner, computer, isNameless });
            const right = delay <= 220 ? seen.readings.length === 1 && seen.readings[0].toUpperCase() === wanted.toUpperCase()
              && !seen.unclear.length : !seen.readings.length && (seen.unclear.length === 1 || (text.length < 3 && suffix[0] === "Tab"));
            if (!right || seen.pressed) wrong.push({ text, prefix, suffix, scanner, computer, isNameless, delay, ...seen });
          }
  return { tried, wrong: wrong.length, first: wrong.slice(0, 5) };
}
