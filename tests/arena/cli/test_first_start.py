"""The first run has everything compiled that later commands need, and leaves no helper behind."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from agents import compiled
from agents.codestore import CodeStore
from arena.cli import first_start

ROOT = Path(first_start.__file__).resolve().parents[2]

pytestmark = pytest.mark.skipif(compiled.PLAIN, reason="plain kernels are not compiled")

COMMANDS = """
import sys
from contextlib import suppress
from arena.cli.command import main
for arguments in {commands!r}:
    try:
        main(arguments)
    except SystemExit as end:
        assert not end.code, (arguments, end.code)
"""

# What a window works out of a replay.
CAUSES = """
from pathlib import Path
from replays.causes.sentences import pulse_cause
from replays.causes.traces import Circuits
from replays.format.replay_file import read_replay
replay = read_replay(Path({replay!r}))
circuits = Circuits(replay)
for walker in range(len(replay.walkers)):
    trace = circuits.trace(walker)
    for number in range(trace.waits):
        trace.wait(number)
    for number in range(len(trace.pulses)):
        trace.pulse(number)
        pulse_cause(trace, number)
    assert len(trace.pulses) > 0
"""


def run_program(cache: Path, code: str, cwd: Path) -> None:
    """Run ``code`` as a command would, with ``cache`` for the folder of caches."""
    place = str(cache)
    done = subprocess.run(
        [sys.executable, "-c", code],
        env={
            **os.environ,
            "PYTHONPATH": str(ROOT),
            "XDG_CACHE_HOME": place,
            "LOCALAPPDATA": place,
            "HOME": place,
        },
        cwd=cwd,
        capture_output=True,
        text=True,
        check=False,
        timeout=900,
    )
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""


def test_after_the_first_run_nothing_is_left_to_compile(tmp_path: Path) -> None:
    cache = tmp_path / "cache"
    race = ["run", "potting-bench", "--design", "poppy", "--walkers", "6", "--duration", "10min"]
    run_program(cache, COMMANDS.format(commands=[[*race, "--out", "one.replay.npz"]]), tmp_path)
    before = sorted(path.name for path in cache.rglob("*") if path.is_file())
    assert first_start._DONE in before
    assert any(name.startswith("batch.advance_batch-") for name in before), before
    later = [
        [*race, "--alone", "--out", "two.replay.npz"],
        ["bench", "poppy"],
        ["bench", "thistle-spins", "--kind", "white-led"],
        ["kit", "poppy", "--copies", "20"],
        ["score", "one.replay.npz"],
        ["picture", "one.replay.npz", "--out", "one.png"],
    ]
    code = COMMANDS.format(commands=later) + CAUSES.format(replay=str(tmp_path / "one.replay.npz"))
    run_program(cache, code, tmp_path)
    assert sorted(path.name for path in cache.rglob("*") if path.is_file()) == before


def helper_process(code: str) -> "subprocess.Popen[bytes]":
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    return subprocess.Popen([sys.executable, "-c", code], stdin=subprocess.PIPE, env=environment)


def test_a_helper_ends_with_whoever_started_it() -> None:
    code = (
        "import time; from arena.cli import first_start\n"
        "first_start.compile_all_but_engine = lambda: time.sleep(600)\n"
    )
    helper = helper_process(code + "first_start.help_out()")
    assert helper.stdin is not None
    # the system closes this end when a process dies, however it dies
    helper.stdin.close()
    assert helper.wait(60) == 1


def test_whoever_stops_the_run_stops_the_helper(monkeypatch: pytest.MonkeyPatch) -> None:
    helper = helper_process("import time; time.sleep(600)")
    monkeypatch.setattr(first_start, "_start_helper", lambda: helper)
    with pytest.raises(KeyboardInterrupt), first_start.everything_compiled(lambda done: None):
        raise KeyboardInterrupt
    assert helper.poll() is not None


def test_the_run_waits_for_its_helper(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    helper = helper_process(f"import time; time.sleep(1); open({str(tmp_path / 'done')!r}, 'w').close()")
    monkeypatch.setattr(first_start, "_start_helper", lambda: helper)
    told: list[float] = []
    with first_start.everything_compiled(told.append):
        pass
    assert (tmp_path / "done").exists()
    assert told == [0.0]


@pytest.mark.parametrize("kept", [True, False], ids=["all is there", "nothing can be kept"])
def test_there_is_no_helper_without_need(kept: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    store = CodeStore(tmp_path if kept else None)
    if kept:
        store.save(first_start._DONE, b"")

    def refuse(*_: object, **__: object) -> None:
        raise AssertionError("a helper was started")

    monkeypatch.setattr(first_start, "code_store", lambda: store)
    monkeypatch.setattr(first_start.subprocess, "Popen", refuse)
    assert first_start._start_helper() is None
