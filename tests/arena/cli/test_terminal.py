"""The command line at the ends of its streams: Ctrl-C, pipes that close, odd terminals."""

import os
import re
import signal
import subprocess
import sys
import threading
from pathlib import Path
from typing import IO

import pytest

from arena.cli.terminal import printable, progress
from tests.helpers.commands import ROOT, finished, photodrome, program

RUN = ("run", "open-bench", "-d", "poppy")

# Says on the output when the engine is at work.
TELLING = """
import os
import arena.simulation
advance = arena.simulation.advance_batch
def told(*arguments):
    os.write(1, b"at work\\n")
    return advance(*arguments)
arena.simulation.advance_batch = told
"""

# An engine that cannot be stopped, as while a kernel is being compiled.
STUCK = """
import os
import threading
import arena.simulation
def stuck(*arguments):
    os.write(1, b"at work\\n")
    threading.Event().wait()
arena.simulation.advance_batch = stuck
"""

# The same in a thread that nobody waits for, except the interpreter on its way out.
FORGOTTEN = """
import os
import threading
import arena.simulation
def forget(*arguments):
    threading.Thread(target=threading.Event().wait).start()
    os.write(1, b"at work\\n")
    threading.Event().wait()
arena.simulation.simulate = forget
"""

on_posix = pytest.mark.skipif(sys.platform == "win32", reason="signals and pipes work in another way there")


@pytest.fixture(autouse=True)
def _own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


@pytest.fixture(scope="module")
def replay(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("run") / "good.npz"
    assert photodrome(*RUN, "-d", "lentil", "--walkers", "2", "--duration", "10 min", "--out", path).code == 0
    return path


@on_posix
@pytest.mark.parametrize(
    ("code", "arguments"),
    [(TELLING, ()), (TELLING, ("--alone",)), (STUCK, ()), (FORGOTTEN, ())],
    ids=["together", "alone", "stuck", "forgotten"],
)
def test_stopping_a_run_leaves_nothing_behind(code: str, arguments: tuple[str, ...]) -> None:
    # Hours of work for a fast machine: only the signal can end it in time.
    long_run = (*RUN, "--duration", "1e6", *arguments)
    with program(*long_run, code=code) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == "at work\n"
        process.send_signal(signal.SIGINT)
        _, err = process.communicate(timeout=20)
    assert (process.returncode, err) == (130, "stopped; nothing was written\n")
    assert list(Path().iterdir()) == []


# The signal comes when all the bytes are in the new file, which has not got its name yet. It is raised in the
# main thread itself: one that is sent may be taken by another thread, and told to this one a little later.
BEFORE_THE_NAME = """
import os, signal
import replays.format.whole_files
class Posix:
    def __getattr__(self, name):
        return getattr(os, name)
    def fsync(self, descriptor):
        assert [name for name in os.listdir() if name.endswith(".part")]
        signal.raise_signal(signal.SIGINT)
replays.format.whole_files.os = Posix()
"""

# The signal comes when the new file has just got its name.
AFTER_THE_NAME = """
import pathlib, signal
rename = pathlib.Path.replace
def late(self, target):
    rename(self, target)
    signal.raise_signal(signal.SIGINT)
pathlib.Path.replace = late
"""

old_file = pytest.mark.parametrize("old", [None, b"an older run"], ids=["nothing there", "a file there"])


@on_posix
@old_file
def test_stopping_while_the_replay_is_written_leaves_nothing_behind(old: bytes | None) -> None:
    out = Path("race.npz")
    if old is not None:
        out.write_bytes(old)
    stopped = finished(*RUN, "--duration", "1", "--out", out, code=BEFORE_THE_NAME)
    assert (stopped.code, stopped.out, stopped.err) == (130, "", "stopped; nothing was written\n")
    assert [path.read_bytes() for path in Path().iterdir()] == ([] if old is None else [old])


@on_posix
@old_file
def test_stopping_when_the_replay_has_its_name_tells_that_it_is_there(old: bytes | None) -> None:
    out = Path("race.npz")
    if old is not None:
        out.write_bytes(old)
    stopped = finished(*RUN, "--duration", "1", "--out", out, code=AFTER_THE_NAME)
    assert (stopped.code, stopped.out) == (130, "")
    assert stopped.err == "stopped; race.npz was written before that\n"
    assert list(Path().iterdir()) == [out]
    whole = finished(*RUN, "--duration", "1", "--out", "whole.npz")
    assert (whole.code, whole.err) == (0, "")
    assert out.read_bytes() == Path("whole.npz").read_bytes()


@on_posix
@pytest.mark.parametrize(
    ("code", "left", "words"),
    [
        (BEFORE_THE_NAME, [], "nothing was written"),
        (AFTER_THE_NAME, ["race.gif"], "race.gif was written before that"),
    ],
    ids=["before", "after"],
)
def test_stopping_while_a_film_is_written_tells_whether_it_is_there(
    code: str, left: list[str], words: str, replay: Path
) -> None:
    short = ("--to", "60", "--speed", "60", "--fps", "2", "--waits", "--size", "640x480")
    stopped = finished("film", replay, "--out", "race.gif", *short, code=code)
    assert (stopped.code, stopped.out, stopped.err) == (130, "", f"stopped; {words}\n")
    assert [path.name for path in Path().iterdir()] == left


@on_posix
def test_stopping_another_command_says_so() -> None:
    code = (
        "import agents.design.spec as spec\ndef stop(name): raise KeyboardInterrupt\nspec.read_design = stop"
    )
    stopped = finished("bench", "poppy", code=code)
    assert (stopped.code, stopped.out, stopped.err.strip()) == (130, "", "stopped")


def test_progress_leaves_the_signal_as_it_was() -> None:
    before, others = signal.getsignal(signal.SIGINT), set(threading.enumerate())

    def work() -> None:
        with progress("testing") as tell:
            tell(0.5)
            assert signal.getsignal(signal.SIGINT) is not before
            signal.raise_signal(signal.SIGINT)

    with pytest.raises(KeyboardInterrupt):
        work()
    assert signal.getsignal(signal.SIGINT) is before
    # whoever would have ended the program is gone
    for thread in set(threading.enumerate()) - others:
        thread.join(10.0)
        assert not thread.is_alive()


@on_posix
def test_the_line_of_progress_tells_what_is_done_now_and_goes() -> None:
    # a terminal for what goes to errors; the clock runs on when the run is through and compiling is not
    import pty
    import termios

    code = (
        "import time\n"
        "from arena.cli import terminal\n"
        "with terminal.progress('getting ready') as tell:\n"
        "    for done, compiled in ((0.0, 0), (0.0, 7), (0.5, 7), (1.0, 7), (0.0, 7)):\n"
        "        terminal.compiled_so_far = lambda: compiled\n"
        "        tell(done)\n"
        "        time.sleep(1.3)\n"
    )
    inside, outside = pty.openpty()
    termios.tcsetwinsize(outside, (24, 100))
    environment = {**os.environ, "TERM": "xterm", "PYTHONPATH": str(ROOT)}
    environment = {key: value for key, value in environment.items() if key not in ("COLUMNS", "NO_COLOR")}
    told = ""
    with subprocess.Popen(
        [sys.executable, "-c", code], stderr=outside, stdout=subprocess.DEVNULL, env=environment
    ) as work:
        os.close(outside)
        while True:
            try:
                more = os.read(inside, 4096)
            except OSError:  # which is how Linux says that nobody writes any more
                break
            if not more:
                break
            told += more.decode()
        assert work.wait(60.0) == 0
    os.close(inside)
    frames = [
        (words.strip(), clock, left)
        for words, clock, left in re.findall(
            r"([a-z][a-z0-9 ,:]*) [━╸╺ ]+ (\d:\d\d:\d\d)(?: (left: \S+))? *",
            re.sub(r"\x1b\[[0-9;?]*[A-Za-z]", "", told),
        )
    ]
    stages = list(dict.fromkeys(words for words, _, _ in frames))
    assert stages == [
        "getting ready",
        "compiling, on the first run only: 7 functions",
        "running",
        "compiling, on the first run only: what other commands need",
    ]
    assert {words for words, _, left in frames if left} == {"running"}
    clocks = [clock for _, clock, _ in frames]
    assert clocks == sorted(clocks)
    for words in stages:
        assert len({clock for one, clock, _ in frames if one == words}) > 1, f"the clock stands at {words!r}"
    # the last thing that happens to the line is that it is wiped out
    assert told.rstrip().endswith("\x1b[2K")


@on_posix
@pytest.mark.parametrize("command", ["score", "score --json", "check", "check nowhere", "--help"])
def test_a_reader_that_has_had_enough_is_no_trouble(command: str, replay: Path) -> None:
    files = () if command == "--help" else (replay,)
    read, write = os.pipe()
    os.close(read)
    with os.fdopen(write, "w") as pipe:
        left = finished(*command.split(), *files, stdout=pipe)
    assert left.code == 1
    nowhere = "'nowhere': no such file, and no shipped design, arena, study or race\n"
    assert left.err == (nowhere if "nowhere" in command else "")


@pytest.mark.skipif(not Path("/dev/full").is_char_device(), reason="there is no device that is always full")
@pytest.mark.parametrize("command", ["score", "score --json", "check", "picture -o a.png"])
def test_an_output_that_takes_nothing_is_told(command: str, replay: Path) -> None:
    with open("/dev/full", "w", encoding="utf-8") as full:  # noqa: PTH123 - opened to write, not replaced
        told = finished(*command.split(), replay, stdout=full)
    # the words of the system behind ENOSPC
    assert (told.code, told.err) == (1, f"the output cannot be written ({os.strerror(28)})\n")


@on_posix
def test_closed_streams_are_no_trouble(replay: Path) -> None:
    for closing in (">&-", "2>&-", ">&- 2>&-"):
        command = [sys.executable, "-c", "from arena.cli.command import main; main()", "score", str(replay)]
        shell = ["sh", "-c", f'exec "$@" {closing}', "sh", *command]
        done = subprocess.run(shell, cwd=ROOT, capture_output=True, text=True, timeout=60, check=False)
        assert (done.returncode, done.stderr) == (0, "")


def test_letters_that_the_output_lacks_are_replaced(replay: Path) -> None:
    scored = finished("score", replay, environment={"PYTHONIOENCODING": "ascii", "PYTHONUTF8": "0"})
    assert (scored.code, scored.err) == (0, "")
    assert scored.out.isascii()
    assert "poppy" in scored.out
    told = finished("check", "grün", environment={"PYTHONIOENCODING": "ascii", "PYTHONUTF8": "0"})
    assert told.code == 2
    assert "no such file" in told.err


def _plain(text: str) -> str:
    return re.sub(r"\x1b\[[0-9;]*m", "", text)


def _as_terminal(monkeypatch: pytest.MonkeyPatch, **variables: str) -> None:
    # rich takes an output for a terminal where FORCE_COLOR is set
    for name in ("NO_COLOR", "TERM", "COLUMNS"):
        monkeypatch.delenv(name, raising=False)
    for name, value in {"FORCE_COLOR": "1", "TERM": "xterm", **variables}.items():
        monkeypatch.setenv(name, value)


@pytest.mark.parametrize("width", [30, 40, 60, 80, 132, 200])
def test_no_figure_is_cut_on_a_narrow_terminal(
    width: int, replay: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    designs = photodrome("score", replay, "--json").json()["designs"]
    points = photodrome("bench", "poppy", "--no-cures", "--json").json()["points"]
    _as_terminal(monkeypatch, COLUMNS=str(width))
    scores = _plain(photodrome("score", replay).out)
    sheet = _plain(photodrome("bench", "poppy", "--no-cures").out)
    for out in (scores, sheet):
        assert max(len(line) for line in out.splitlines()) <= width
        assert "…" not in out
    words = scores.split()
    for design in designs:
        assert design["design"] in words
        assert f"{design['aim']:.2f}" in words
        assert str(design["pulses"]) in words
    for point in points:
        assert f"{point['trigger_touched_V']:.2f}" in sheet.split()


def test_explanations_stand_beside_the_scores_where_there_is_room(
    replay: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for width, beside in (("80", False), ("160", True)):
        _as_terminal(monkeypatch, COLUMNS=width)
        out = _plain(photodrome("score", replay).out)
        assert ("what it says" in out) is beside
        assert ("contacts: times a walker got into touch" in out) is not beside
        assert "got into touch" in out


def test_terminals_without_colour_or_control(replay: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    # no-color.org asks for no colour where NO_COLOR is set: SGR codes 30 to 49 and 90 to 107 of ECMA-48
    _as_terminal(monkeypatch, NO_COLOR="1")
    codes = re.findall(r"\x1b\[([0-9;]*)m", photodrome("score", replay).out)
    numbers = {int(number) for code in codes for number in code.split(";") if number}
    assert not numbers & {*range(30, 50), *range(90, 108)}
    _as_terminal(monkeypatch, TERM="dumb")
    assert "\x1b" not in photodrome("score", replay).out


@on_posix
def test_demo_on_a_terminal_without_a_screen_opens_nothing_and_shows_the_cursor_again() -> None:
    import pty

    main_end, terminal = pty.openpty()
    seen = bytearray()

    def read() -> None:
        try:
            while content := os.read(main_end, 4096):
                seen.extend(content)
        except OSError:
            # the other end is closed
            pass

    reader = threading.Thread(target=read)
    reader.start()
    no_screen = dict.fromkeys(("DISPLAY", "WAYLAND_DISPLAY", "SDL_VIDEODRIVER", "CI", "FORCE_COLOR"))
    streams: dict[str, IO[str] | int] = dict.fromkeys(("stdin", "stdout", "stderr"), terminal)
    environment = {**no_screen, "TERM": "xterm", "COLUMNS": "90"}
    demo = finished("demo", "--duration", "30", environment=environment, **streams)
    os.close(terminal)
    reader.join(20.0)
    os.close(main_end)
    assert demo.code == 0
    text = seen.decode()
    assert text.rindex("\x1b[?25h") > text.rindex("\x1b[?25l")
    assert "potting bench: 24 walkers, 30.0 s" in text
    assert sorted(path.name for path in Path().iterdir()) == ["demo.png", "demo.replay.npz"]


def test_text_for_the_terminal() -> None:
    assert printable("Grüne Bohne 3 µ") == "Grüne Bohne 3 µ"
    # ECMA-48: ESC and the C1 control CSI begin what steers a terminal; U+202E reverses the writing
    assert printable("a\x1b[2Jb\x9b1mc\nd\u202ee") == "a [2Jb 1mc d e"
