// The codes on labels, checked without the server: as tracker/shop/codes.py and tracker/shop/sscc.py do it.
// isCode(text) -> whether it is a code whose check digits are right; isShaped(text) -> whether it looks like one, whatever its check digits.
// marksPart(text) -> whether it is the damaged card or a slot: what it does, it does to a part that was read before.
// takesBack(text) -> whether it is the undo card.
// codeIn(text) -> the code that the link of a label's QR code names, in capitals; any other text as it is.

const CODE = /^[PBLSWRCD][0-9]{10}$/;
const SHAPE = /^[A-Z][0-9]{10}$/;
const SSCC = /^(?:(?:00|\(00\))?([0-9]{18})|\](?:C1|e0|d2|Q3|J1)\u001d?00([0-9]{18}).*)$/is;
const UNDO_CARD = "C0000000189";
const MARKS = /^(?:C00000002|R[0-9]{8})[0-9]{2}$/;

// A scanner that types on another layout sends other signs for : and /; the check digits tell whether it was read right.
const LINK = /^HTTPS?[^0-9A-Z]+[0-9A-Z].*[^0-9A-Z]Q[^0-9A-Z]([A-Z][0-9]{10})[^0-9A-Z][A-Z2-7]{8}$/;

export function codeIn(text) {
  const spelled = text.trim().toUpperCase();
  return LINK.exec(spelled)?.[1] ?? text;
}

export function isCode(text) {
  const spelled = codeIn(text).trim().toUpperCase();
  return CODE.test(spelled) ? leavesOne(spelled) : isSscc(text);
}

export function marksPart(text) {
  return MARKS.test(text);
}

export function takesBack(text) {
  return text === UNDO_CARD;
}

export function isShaped(text) {
  return SHAPE.test(codeIn(text).trim().toUpperCase()) || Boolean(digitsOfSscc(text));
}

// ISO/IEC 7064 MOD 97-10: the whole, read as one number with letters as 10 to 35, leaves 1 modulo 97.
function leavesOne(code) {
  return Number(`${code.charCodeAt(0) - 55}${code.slice(1)}`) % 97 === 1;
}

// GS1's check digit: weights 3 and 1 in turn from the right, up to the next ten.
function isSscc(text) {
  const digits = digitsOfSscc(text);
  if (!digits) return false;
  return [...digits].reduce((sum, digit, place) => sum + Number(digit) * (place % 2 ? 1 : 3), 0) % 10 === 0;
}

function digitsOfSscc(text) {
  const found = SSCC.exec(text.replaceAll(" ", "").replace(/^\u001d/, ""));
  return found?.[1] ?? found?.[2];
}
