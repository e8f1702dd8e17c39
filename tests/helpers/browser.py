"""A browser without a screen, asked over a pipe by the DevTools protocol that Chromium publishes."""

import base64
import contextlib
import io
import json
import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
from pypdf import PdfReader

NAMES = ("chromium", "chromium-browser", "google-chrome", "chrome")
PAPERS = {"A4": (8.27, 11.69), "Letter": (8.5, 11.0)}

_AT_3_AND_4 = """
import os, sys
os.dup2(int(sys.argv[1]), 3)
os.dup2(int(sys.argv[2]), 4)
os.execv(sys.argv[3], sys.argv[3:])
"""

# Of every element with words of its own: its colour, the ground behind it, and how it is clipped.
_WORDS = """
(() => {
  const clear = (c) => /rgba\\(.*, 0\\)$/.test(c) || c === "transparent";
  const found = [];
  for (const one of document.querySelectorAll("body *")) {
    const own = [...one.childNodes].some((n) => n.nodeType === 3 && n.textContent.trim());
    if (!own) continue;
    let ground = one;
    while (ground && clear(getComputedStyle(ground).backgroundColor)) ground = ground.parentElement;
    found.push([
      getComputedStyle(one).color,
      ground ? getComputedStyle(ground).backgroundColor : "rgb(255, 255, 255)",
      parseFloat(getComputedStyle(one).fontSize),
      one.textContent.trim().slice(0, 40),
    ]);
  }
  return found;
})()
"""


@dataclass
class Seen:
    """What a browser saw of a page."""

    messages: list[str] = field(default_factory=list)
    requests: list[str] = field(default_factory=list)
    dialogs: list[str] = field(default_factory=list)


class Browser:
    """Chromium with one page at a time."""

    def __init__(self, program: str, profile: Path) -> None:
        # not there on Windows, where no test comes this far
        import fcntl

        to_it, ours = os.pipe()
        theirs, from_it = os.pipe()
        # out of the way of 3 and 4, which the browser reads and writes
        low = to_it, from_it
        to_it, from_it = (fcntl.fcntl(one, fcntl.F_DUPFD, 10) for one in low)
        for one in low:
            os.close(one)
        self._write = os.fdopen(ours, "wb", buffering=0)
        self._read = os.fdopen(theirs, "rb")
        options = [
            "--headless",
            "--no-sandbox",
            "--disable-gpu",
            "--disable-dev-shm-usage",
            "--disable-background-networking",
            "--no-first-run",
            f"--user-data-dir={profile}",
            "--remote-debugging-pipe",
            "about:blank",
        ]
        self._process = subprocess.Popen(
            [sys.executable, "-c", _AT_3_AND_4, str(to_it), str(from_it), program, *options],
            pass_fds=(to_it, from_it),
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            start_new_session=True,
        )
        os.close(to_it)
        os.close(from_it)
        self._number = 0
        self._session = ""
        self.seen = Seen()

    def begin(self) -> None:
        """Open an empty page, and be told what goes on in it."""
        target = self._ask("Target.createTarget", url="about:blank")["targetId"]
        self._session = self._ask("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
        for part in ("Page", "Network", "Log", "Runtime"):
            self._ask(f"{part}.enable")

    def close(self) -> None:
        with contextlib.suppress(OSError, EOFError):
            self._session = ""
            self._ask("Browser.close")
        with contextlib.suppress(subprocess.TimeoutExpired):
            self._process.wait(10)
        if self._process.poll() is None:
            self._process.kill()
            self._process.wait()
        self._write.close()
        self._read.close()

    def _ask(self, method: str, **parameters: Any) -> Any:
        self._number += 1
        order: dict[str, Any] = {"id": self._number, "method": method, "params": parameters}
        if self._session:
            order["sessionId"] = self._session
        self._write.write(json.dumps(order).encode() + b"\0")
        while True:
            answer = self._next()
            if answer.get("id") == self._number:
                assert "error" not in answer, answer["error"]
                return answer["result"]

    def _next(self) -> Any:
        letters = bytearray()
        while (letter := self._read.read(1)) != b"\0":
            if not letter:
                raise EOFError("the browser is gone")
            letters += letter
        event = json.loads(letters)
        self._note(event)
        return event

    def _note(self, event: Any) -> None:
        told = event.get("params", {})
        match event.get("method"):
            case "Network.requestWillBeSent":
                self.seen.requests.append(told["request"]["url"])
            case "Log.entryAdded":
                self.seen.messages.append(told["entry"]["text"])
            case "Runtime.consoleAPICalled" | "Runtime.exceptionThrown":
                self.seen.messages.append(json.dumps(told)[:400])
            case "Page.javascriptDialogOpening":
                self.seen.dialogs.append(told["message"])
                self._write.write(
                    json.dumps(
                        {
                            "id": 10**6 + self._number,
                            "method": "Page.handleJavaScriptDialog",
                            "params": {"accept": True},
                            "sessionId": self._session,
                        }
                    ).encode()
                    + b"\0"
                )

    def open(self, path: Path) -> Seen:
        """Open a page and wait until it is all there; returns what was seen, requests without the page's."""
        self.seen = Seen()
        address = path.resolve().as_uri()
        self._ask("Page.navigate", url=address)
        while self._next().get("method") != "Page.loadEventFired":
            pass
        self.run("document.fonts.ready.then(() => true)")
        self.seen.requests = [
            one for one in self.seen.requests if one != address and not one.startswith("data:")
        ]
        return self.seen

    def run(self, script: str) -> Any:
        """What a script of the page comes to."""
        answer = self._ask("Runtime.evaluate", expression=script, returnByValue=True, awaitPromise=True)
        assert "exceptionDetails" not in answer, answer
        return answer["result"].get("value")

    def printed(self, paper: str) -> PdfReader:
        """The page as it comes out of a printer, on ``A4`` or ``Letter``, without grounds."""
        width, height = PAPERS[paper]
        answer = self._ask("Page.printToPDF", paperWidth=width, paperHeight=height, preferCSSPageSize=False)
        return PdfReader(io.BytesIO(base64.b64decode(answer["data"])))

    def words(self, media: str = "screen") -> list[tuple[Any, Any, float, str]]:
        """Colour, ground, size [pixels] and beginning of every text, as the page computes them."""
        self._ask("Emulation.setEmulatedMedia", media=media)
        found = [(_colour(ink), _colour(ground), size, text) for ink, ground, size, text in self.run(_WORDS)]
        self._ask("Emulation.setEmulatedMedia", media="")
        return found

    def overhang(self, width: int) -> int:
        """How far [pixels] the page is wider than a window of ``width``."""
        self._ask(
            "Emulation.setDeviceMetricsOverride", width=width, height=900, deviceScaleFactor=1, mobile=False
        )
        found = self.run("document.documentElement.scrollWidth - document.documentElement.clientWidth")
        self._ask("Emulation.clearDeviceMetricsOverride")
        return int(found)


def _colour(text: str) -> tuple[int, int, int]:
    numbers = text[text.index("(") + 1 : -1].split(",")
    red, green, blue = (int(one) for one in numbers[:3])
    return red, green, blue


@contextlib.contextmanager
def a_browser(folder: Path) -> Iterator[Browser]:
    """A browser for a while; skips the test where none is on the PATH."""
    program = next((found for name in NAMES if (found := shutil.which(name))), None)
    if program is None or os.name == "nt":
        pytest.skip("no Chromium on the PATH")
    with contextlib.closing(Browser(program, folder / "profile")) as browser:
        browser.begin()
        yield browser
