// A print that is under way, or printers, shown as they are now: asked again while something may change by itself.
import { call, tell } from "../../frame/call.js";

const live = document.querySelector("[data-live]");
const EVERY = 2000;
const LONGEST = 30000;
let failed = 0;

async function look() {
  if (!document.hidden) {
    try {
      const answer = await call(live.dataset.live);
      if (answer.status !== 200) throw new Error(String(answer.status));
      failed = 0;
      show(answer.data);
    } catch {
      failed += 1;
    }
    tell(failed < 2);
  }
  if ("moves" in live.dataset) setTimeout(look, Math.min(EVERY * 2 ** failed, LONGEST));
}

function show({ html, moves }) {
  const fresh = new DOMParser().parseFromString(html, "text/html");
  let left = false;
  for (const bit of live.querySelectorAll("[data-bit]")) {
    const now = fresh.querySelector(`[data-bit="${bit.dataset.bit}"]`);
    if (!now || bit.innerHTML === now.innerHTML) continue;
    // A button that is about to be pressed stays where it is, until the focus is elsewhere.
    if (bit.contains(document.activeElement)) left = true;
    else bit.innerHTML = now.innerHTML;
  }
  if (!moves && !left) delete live.dataset.moves;
}

if (live && "moves" in live.dataset) setTimeout(look, 300);
