"""A screen of its own with a window manager, on which keys are pressed from outside and pictures taken.

It needs Xvfb, openbox and xdotool; a test that asks for it is skipped without them.
"""

import contextlib
import os
import shutil
import struct
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

TOOLS = ("Xvfb", "openbox", "xdotool")

# How long [s] a picture stays the same before nothing more is expected, and how long is waited for that.
_STILL, _PATIENCE = 2.5, 240.0


@dataclass
class RealScreen:
    """The screen of ``display``, whose pixels are in ``frame``."""

    display: str
    frame: Path

    @property
    def environment(self) -> dict[str, str]:
        """The surroundings of a program that shows itself here."""
        kept = {name: value for name, value in os.environ.items() if name != "SDL_VIDEODRIVER"}
        return kept | {"DISPLAY": self.display}

    def tool(self, *arguments: str) -> str:
        """Run xdotool; returns what it writes."""
        done = subprocess.run(
            ["xdotool", *arguments], env=self.environment, capture_output=True, text=True, timeout=60
        )
        return done.stdout.strip()

    def press(self, *keys: str) -> None:
        """Press keys by the names that X has for them, one after another."""
        for key in keys:
            self.tool("key", key)
            time.sleep(0.08)

    def write(self, text: str) -> None:
        """Write letters."""
        self.tool("type", "--delay", "50", text)
        time.sleep(0.2)

    def title(self) -> str:
        """Title of the window that has the keys."""
        return self.tool("getactivewindow", "getwindowname")

    def picture(self) -> np.ndarray:
        """What is on the screen, (height, width, 3), out of the file in the format of xwd, of X11R7."""
        held = self.frame.read_bytes()
        size, _, _, _, width, height, _, order = struct.unpack(">8I", held[:32])
        bits, line, colours = (struct.unpack(">I", held[at : at + 4])[0] for at in (44, 48, 76))
        assert bits == 32
        start = size + 12 * colours
        rows = np.frombuffer(held[start : start + line * height], np.uint8).reshape(height, line)
        pixels = rows[:, : 4 * width].reshape(height, width, 4)
        return pixels[:, :, 2::-1] if order == 0 else pixels[:, :, 1:]

    def settled(self, name: str = "", folder: Path | None = None) -> np.ndarray:
        """The picture once it has stayed the same for a while, kept in ``folder`` under ``name``."""
        until = time.monotonic() + _PATIENCE
        before, since = self.picture(), time.monotonic()
        while time.monotonic() - since < _STILL:
            assert time.monotonic() < until, "the picture goes on changing"
            time.sleep(0.25)
            now = self.picture()
            if (now != before).any():
                before, since = now, time.monotonic()
        if folder is not None:
            from PIL import Image

            Image.fromarray(np.ascontiguousarray(before)).save(folder / f"{name}.png")
        return before

    def wait_for_title(self, part: str) -> None:
        """Wait until the title of the window has ``part`` in it."""
        until = time.monotonic() + _PATIENCE
        while part not in self.title():
            assert time.monotonic() < until, f"{self.title()!r} never became {part!r}"
            time.sleep(0.25)


@contextlib.contextmanager
def real_screen(size: tuple[int, int], folder: Path) -> Iterator[RealScreen]:
    """A screen of ``size`` pixels, with files of its own in ``folder``."""
    missing = [tool for tool in TOOLS if shutil.which(tool) is None]
    if missing:
        pytest.skip(f"there is no {', '.join(missing)} on this machine")
    reading, writing = os.pipe()
    command = ["Xvfb", "-displayfd", str(writing), "-screen", "0", f"{size[0]}x{size[1]}x24"]
    server = subprocess.Popen(
        [*command, "-fbdir", str(folder), "-nolisten", "tcp"], pass_fds=(writing,), stderr=subprocess.DEVNULL
    )
    os.close(writing)
    manager = None
    try:
        with os.fdopen(reading) as told:
            number = told.readline().strip()
        if not number:
            pytest.skip("no screen can be opened on this machine")
        screen = RealScreen(f":{number}", folder / "Xvfb_screen0")
        manager = subprocess.Popen(["openbox"], env=screen.environment, stderr=subprocess.DEVNULL)
        time.sleep(1.0)
        yield screen
    finally:
        for process in (manager, server):
            if process is not None:
                process.terminate()
                process.wait(30)


@contextlib.contextmanager
def shown_program(screen: RealScreen, folder: Path, *arguments: str) -> Iterator["subprocess.Popen[bytes]"]:
    """The program with ``arguments`` in ``folder``, until it ends or is ended."""
    program = subprocess.Popen(
        [sys.executable, "-m", "photodrome", *arguments], cwd=folder, env=screen.environment
    )
    try:
        yield program
    finally:
        if program.poll() is None:
            program.kill()
        program.wait(60)
