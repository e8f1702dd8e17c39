"""Machine code on disk: damage is thrown away, no room is no failure, many processes may write."""

import os
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from agents import codestore, compiled
from agents.codestore import CodeStore, remove_left_over, remove_old_folders
from agents.noise import normal_pair

ROOT = Path(compiled.__file__).resolve().parent.parent

pytestmark = pytest.mark.skipif(compiled.PLAIN, reason="plain kernels keep nothing")

# Compiles one kernel and tells its result, and how often it was loaded instead.
SMALL = """
from agents.noise import normal_pair
print(normal_pair(1, 2, 3, 4)[0], sum(normal_pair.stats.cache_hits.values()))
"""


def area(width: float, depth: float) -> float:
    return width * depth + 1.0


@pytest.fixture
def fresh(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[[], tuple[float, int]]:
    """Calls a kernel as a new process would; returns its result and how often it was loaded."""

    def call() -> tuple[float, int]:
        store = CodeStore(tmp_path / "store")
        monkeypatch.setattr(compiled, "code_store", lambda: store)
        dispatcher: object = compiled.kernel(area)
        return dispatcher(2.0, 3.0), sum(dispatcher.stats.cache_hits.values())  # type: ignore[operator, attr-defined]

    return call


def only_file(tmp_path: Path) -> Path:
    (path,) = (tmp_path / "store").iterdir()
    return path


def test_what_was_compiled_is_loaded(
    tmp_path: Path, fresh: Callable[[], tuple[float, int]], caplog: pytest.LogCaptureFixture
) -> None:
    assert fresh() == (7.0, 0)
    assert only_file(tmp_path).suffix == ".code"
    assert fresh() == (7.0, 1)
    assert caplog.messages == []


COUNTING = """
import numpy as np
from agents.compiled import kernel_part

@kernel_part
def first_half(values):
    return values[: len(values) // 2]

print(first_half(np.arange(8.0)).tolist(), sum(first_half.stats.cache_hits.values()))
"""


def test_code_that_hands_out_an_array_can_be_loaded(tmp_path: Path) -> None:
    """It counts who holds the array, with what a fresh process has not got by itself."""
    path = tmp_path / "counting.py"
    path.write_text(COUNTING, encoding="utf-8")
    place = str(tmp_path / "cache")
    variables = {"XDG_CACHE_HOME": place, "LOCALAPPDATA": place, "HOME": place, "PYTHONPATH": str(ROOT)}
    for loaded in (0, 1):
        done = subprocess.run(
            [sys.executable, str(path)],
            env={**os.environ, **variables},
            capture_output=True,
            text=True,
            timeout=240,
        )
        assert (done.returncode, done.stdout) == (0, f"[0.0, 1.0, 2.0, 3.0] {loaded}\n"), done.stderr


def half(content: bytes) -> bytes:
    return content[: len(content) // 2]


def another_bit(content: bytes) -> bytes:
    place = len(content) * 2 // 3
    return content[:place] + bytes([content[place] ^ 1]) + content[place + 1 :]


DAMAGE: dict[str, Callable[[bytes], bytes]] = {
    "empty": lambda content: b"",
    "half": half,
    "one byte short": lambda content: content[:-1],
    "one byte more": lambda content: content + b"x",
    "another bit": another_bit,
    "noise": lambda content: np.random.default_rng(1).bytes(len(content)),
    "zeros": lambda content: bytes(len(content)),
    "something else with a good checksum": lambda content: (
        content[: len(codestore._MARK)] + codestore.hashlib.sha256(b"else").digest() + b"else"
    ),
}


@pytest.mark.parametrize("damage", DAMAGE)
def test_damaged_code_is_compiled_anew(
    damage: str,
    tmp_path: Path,
    fresh: Callable[[], tuple[float, int]],
    caplog: pytest.LogCaptureFixture,
) -> None:
    fresh()
    path = only_file(tmp_path)
    path.write_bytes(DAMAGE[damage](path.read_bytes()))
    assert fresh() == (7.0, 0)
    assert caplog.messages == [
        f"kept machine code in {tmp_path / 'store'} was damaged; it is compiled anew",
    ]
    assert fresh() == (7.0, 1)
    assert len(caplog.messages) == 1


def test_damage_is_told_once(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    store = CodeStore(tmp_path)
    for name in ("one.code", "two.code"):
        (tmp_path / name).write_bytes(b"")
        assert store.load(name) is None
    assert len(caplog.messages) == 1
    assert list(tmp_path.iterdir()) == []


def run_small(cache: Path, file_size: int | None = None) -> subprocess.CompletedProcess[str]:
    """Compile one kernel in a process of its own, whose files may have ``file_size`` bytes at the most."""
    limit = f"import resource\nresource.setrlimit(resource.RLIMIT_FSIZE, ({file_size},) * 2)\n"
    # whoever counts the lines that run could not write the count either
    uncounted = {"COVERAGE_PROCESS_CONFIG": ""} if file_size else {}
    return subprocess.run(
        [sys.executable, "-c", (limit if file_size else "") + SMALL],
        cwd=ROOT,
        env={
            **os.environ,
            **dict.fromkeys(("XDG_CACHE_HOME", "LOCALAPPDATA", "HOME"), str(cache)),
            **uncounted,
        },
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
    )


@pytest.mark.skipif(os.name == "nt", reason="has no limit on the size of files")
def test_without_room_it_works_and_says_so_once(tmp_path: Path) -> None:
    for _ in range(2):
        done = run_small(tmp_path, file_size=1000)
        assert done.returncode == 0, done.stderr
        assert done.stdout.split()[1] == "0"
        assert float(done.stdout.split()[0]) == normal_pair(1, 2, 3, 4)[0]
        (line,) = done.stderr.splitlines()
        assert "machine code cannot be kept in" in line
        assert "File too large" in line
    assert not [path for path in tmp_path.rglob("*") if path.is_file()]


def test_where_nothing_can_be_written_it_works_and_says_so_once(tmp_path: Path) -> None:
    blocked = tmp_path / "blocked"
    blocked.write_text("a file where the folder for caches should be", encoding="utf-8")
    done = run_small(blocked)
    assert done.returncode == 0, done.stderr
    assert len(done.stderr.splitlines()) == 1
    assert "machine code cannot be kept in" in done.stderr


def test_without_a_place_of_its_own_nothing_is_kept(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(compiled.platformdirs, "user_cache_dir", lambda *_, **__: "~/.cache/photodrome")
    compiled.code_store.cache_clear()
    try:
        assert compiled.code_store().folder is None
    finally:
        compiled.code_store.cache_clear()
    store = CodeStore(None)
    store.save("one.code", b"code")
    assert store.load("one.code") is None
    assert list(tmp_path.iterdir()) == []
    assert len(caplog.messages) == 1


def test_many_processes_compile_at_once(tmp_path: Path) -> None:
    environment = {**os.environ, "XDG_CACHE_HOME": str(tmp_path), "LOCALAPPDATA": str(tmp_path)}
    running = [
        subprocess.Popen(
            [sys.executable, "-c", SMALL],
            cwd=ROOT,
            env={**environment, "HOME": str(tmp_path)},
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        for _ in range(3)
    ]
    results = [one.communicate(timeout=240) for one in running]
    assert [errors for _, errors in results] == [""] * 3
    assert len({output.split()[0] for output, _ in results}) == 1
    files = [path for path in tmp_path.rglob("*") if path.is_file()]
    assert {path.suffix for path in files} == {".code"}
    (folder,) = {path.parent for path in files}
    for path in files:
        assert CodeStore(folder).load(path.name) is not None
    assert run_small(tmp_path).stdout.split()[1] == "1"


def aged(path: Path, seconds: float) -> Path:
    os.utime(path, (time.time() - seconds,) * 2)
    return path


def test_old_folders_go_and_nothing_else(tmp_path: Path) -> None:
    year = 365 * 24 * 3600.0
    stores = []
    for number in range(6):
        folder = tmp_path / f"{number:016x}"
        folder.mkdir()
        (folder / "some.code").write_bytes(b"code")
        stores.append(aged(folder, year - number))
    recent = tmp_path / "0123456789abcdef"
    recent.mkdir()
    other = tmp_path / "mine"
    other.mkdir()
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    (elsewhere / "kept").write_text("kept", encoding="utf-8")
    link = tmp_path / f"{9:016x}"
    try:
        link.symlink_to(elsewhere, target_is_directory=True)
    except OSError:
        pytest.skip("links need a privilege here")
    aged(other, year)
    aged(elsewhere, year)
    remove_old_folders(tmp_path)
    assert [path.exists() for path in stores] == [False] * 4 + [True] * 2
    assert recent.exists()
    assert other.exists()
    assert (link / "kept").exists()
    # the newest few stay, however old; and many that are not old stay
    for path in stores[4:]:
        aged(path, 24 * 3600.0)
    for number in range(20, 26):
        (tmp_path / f"{number:016x}").mkdir()
    before = sorted(tmp_path.iterdir())
    remove_old_folders(tmp_path)
    assert sorted(tmp_path.iterdir()) == before


def test_a_new_version_removes_old_stores_before_it_writes(tmp_path: Path) -> None:
    for number in range(5):
        (tmp_path / f"{number:016x}").mkdir()
        aged(tmp_path / f"{number:016x}", (400 - number) * 24 * 3600.0)
    CodeStore(tmp_path / "fedcba9876543210").save("one.code", b"code")
    assert sorted(path.name for path in tmp_path.iterdir()) == [
        *(f"{number:016x}" for number in (2, 3, 4)),
        "fedcba9876543210",
    ]


def test_unfinished_files_go_after_a_day(tmp_path: Path) -> None:
    for name in ("unfinished-old", "unfinished-new", "one.code"):
        (tmp_path / name).write_bytes(b"code")
    aged(tmp_path / "unfinished-old", 2 * codestore.DAY)
    aged(tmp_path / "one.code", 2 * codestore.DAY)
    remove_left_over(tmp_path)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["one.code", "unfinished-new"]


def test_use_keeps_a_store_young(tmp_path: Path) -> None:
    store = CodeStore(tmp_path / "store")
    store.save("one.code", b"code")
    assert store.folder is not None
    aged(store.folder, 100 * codestore.DAY)
    assert CodeStore(store.folder).load("one.code") == b"code"
    assert time.time() - store.folder.stat().st_mtime < codestore.DAY
