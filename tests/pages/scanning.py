"""A keyboard scanner, simulated in the browser."""

import asyncio
import time
from collections.abc import Sequence
from typing import Any

from playwright.sync_api import Page


class Scanner:
    """A keyboard scanner: keys 4 ms apart by their own clock, then Enter, whatever has the focus.

    The browser is told when each key was pressed, so that a slow machine does not make a scanner a slow typist.
    """

    def __init__(self, page: Page) -> None:
        self.page = page
        self.wire = page.context.new_cdp_session(page)
        self.clock = time.time()

    def rest(self, seconds: float) -> None:
        """Let time pass by the scanner's clock alone."""
        self.clock = max(self.clock, time.time()) + seconds

    def pull(self, code: str, *, at_once: bool = False, every_s: float = 0.004) -> None:
        """Read one label; nothing is waited for. ``at_once``: by its clock right after the reading before."""
        self.clock = self.clock + 0.3 if at_once else max(self.clock + 0.3, time.time())
        keys = [self._key(sign, _place(sign), sign, every_s) for sign in code]
        keys.append(self._key("Enter", "Enter", "\r", every_s))
        self.wire._sync(self._send(keys))

    def press(self, sign: str) -> None:
        """Press one key by itself, a second later by the scanner's clock."""
        self.wire._sync(self._send([self._key(sign, _place(sign), sign, 1.0)]))

    async def _send(self, keys: Sequence[dict[str, Any]]) -> None:
        """Send all keys at once, as they come from a real scanner: one by one, a busy machine makes pauses between."""
        wire = self.wire._impl_obj
        await asyncio.gather(*(wire.send("Input.dispatchKeyEvent", key, None) for key in keys))

    def _key(self, key: str, code: str, text: str, every_s: float) -> dict[str, Any]:
        self.clock += every_s
        number = ord(text.upper())
        pressed = {"key": key, "code": code, "windowsVirtualKeyCode": number, "timestamp": self.clock}
        return {"type": "keyDown", "text": text, **pressed}


def _place(sign: str) -> str:
    return "Space" if sign == " " else f"{'Digit' if sign.isdigit() else 'Key'}{sign.upper()}"


_LISTEN = """
  window.rhythms = [];
  const source = AudioScheduledSourceNode.prototype, start = source.start;
  let isPlaying = false;
  source.start = function (...at) {
    if (!isPlaying) {
      window.rhythms.push(0);
      isPlaying = true;
      queueMicrotask(() => { isPlaying = false; });
    }
    window.rhythms[window.rhythms.length - 1] += 1;
    return start.apply(this, at);
  };"""


def listen(page: Page) -> None:
    """Hear the rhythms that an open page plays from now on. Each kind of sound has its own number of tones."""
    page.evaluate(f"() => {{{_LISTEN}}}")


def last_rhythm(page: Page) -> int:
    """How many tones the last sound had. A busy service may let a page say "Noted" before, which sounds, too."""
    tones: int = page.evaluate("window.rhythms.at(-1)")
    return tones


def rhythms(page: Page) -> list[int]:
    """How many tones each sound had."""
    heard: list[int] = page.evaluate("window.rhythms")
    return heard
