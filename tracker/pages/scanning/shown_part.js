/* The part that the damaged card and the codes of slots mean here: the last single part that this page read, also before a reload. After a
 * board, a misread or an unknown code there is none, nor after ten minutes without a reading, nor on a page that has read nothing yet.
 *
 *   const part = shownPart();
 *   part.read(code)               something is read: {what, part}: its name for people, and the part that a card or a slot's code means
 *   part.answered(entry, data)    what the server says of an entry of the outbox
 *   part.none()                   keys came that were not understood
 */

import { words } from "../frame/call.js";
import { isCode, marksPart } from "./codes.js";

const HELD_MS = 10 * 60_000;
const KEPT = `part ${location.pathname}`;
const NOTHING = { part: null, latest: 0 };
export const NO_PART = "none"; // as tracker/shop/scans.py has it

export function shownPart() {
  let { part, latest } = kept(); // {code, title, at} or null; when anything was read

  function read(code) {
    const now = Date.now();
    const isOld = part && Math.abs(now - latest) > HELD_MS; // a clock may be set back, too
    if (isOld || !isCode(code) || code.startsWith("D")) part = null;
    latest = now;
    if (isCode(code) && code.startsWith("P")) part = { code, title: code, at: now };
    keep({ part, latest });
    if (!marksPart(code)) return { what: code };
    if (!part) return { part: NO_PART, what: code };
    return { part: part.code, what: code.startsWith("C") ? words("damagedPart", { part: part.title }) : `${part.title}, ${code}` };
  }

  function answered({ read: at, body }, data) {
    if (!part || body.action === "undo") return;
    const isNone = data?.outcome === "unknown" || data?.outcome === "misread";
    if (isNone && at >= part.at) part = null;
    else if (data?.part === part.code) part.title = data.title || part.title;
    keep({ part, latest });
  }

  function none() {
    part = null;
    keep({ part, latest });
  }

  return { read, answered, none };
}

function kept() {
  try {
    return JSON.parse(sessionStorage.getItem(KEPT)) ?? NOTHING;
  } catch {
    return NOTHING; // a browser that keeps nothing shows none after a reload
  }
}

function keep(shown) {
  try {
    sessionStorage.setItem(KEPT, JSON.stringify(shown));
  } catch {
    // as above
  }
}
