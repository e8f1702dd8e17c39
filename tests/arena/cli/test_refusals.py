"""The command line, given what it cannot use: a clear word where errors go, an exit code, nothing written."""

import dataclasses
import io
import os
import shutil
import sys
import zipfile
from pathlib import Path

import numpy as np
import pytest

from agents.errors import OutputError, ReplayError
from replays.format.replay_file import read_replay, write_replay
from replays.format.whole_files import check_writable, write_whole
from tests.helpers.commands import ARENA, DESIGN, listing, photodrome, refusal

RUN = ("run", "open-bench", "-d", "poppy")
DRAW = ("picture", "good.npz", "--out", "a.png")
FILM = ("film", "good.npz", "--out", "a.gif")

# Plain text of a file that stays below MOST_NODES, and would be 10^30 values with its aliases.
BOMB = "\n".join(
    ["photodrome: arena 1", "a0: &a0 [x, x, x, x, x, x, x, x, x, x]"]
    + [f"a{n}: &a{n} [{', '.join([f'*a{n - 1}'] * 10)}]" for n in range(1, 30)]
)


@pytest.fixture(scope="module")
def run_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("run")
    ran = photodrome(*RUN, "--walkers", "2", "--duration", "60", "--out", folder / "good.npz")
    assert ran.code == 0
    return folder


@pytest.fixture(autouse=True)
def _own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


@pytest.fixture
def good(run_folder: Path) -> Path:
    """A replay of its own for each test."""
    return Path(shutil.copy(run_folder / "good.npz", "good.npz"))


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("frob",), "No such command 'frob'"),
        (("--frob",), "No such option '--frob'"),
        (("run",), "Missing argument 'ARENA'"),
        (("run", "open-bench"), "Missing option '--design'"),
        (("score",), "Missing argument"),
        (("check",), "Missing argument"),
        (("picture", "good.npz"), "Missing option '--out'"),
        ((*DRAW, "--at", "-1"), "got '-1 s', expected a number of seconds, or a time with its unit"),
        ((*DRAW, "--theme", "drak"), "expected one of light, dark (nearest: dark)"),
        (("film", "good.npz"), "Missing option '--out'"),
        ((*FILM, "--from", "3klx"), "expected a number of seconds"),
        ((*FILM, "--to", "0"), "more than 0 s"),
        ((*FILM, "--speed", "0"), "got '0', expected a plain number, more than 0"),
        ((*FILM, "--speed", "nan"), "got 'nan'"),
        ((*FILM, "--fps", "61"), "1 to 60"),
        (("watch", "good.npz", "--scale", "9"), "got '9', expected a plain number, 1 to 4"),
        (
            ("try", "open-bench", "-d", "poppy", "--duration", "-1"),
            "got '-1 s', expected a number of seconds",
        ),
        ((*RUN, "--duratn", "3"), "--duration"),
        ((*RUN, "--duration", "-1"), "got '-1 s', expected a number of seconds, or a time with its unit"),
        ((*RUN, "--duration", "0"), "more than 0 s"),
        ((*RUN, "--duration", "nan"), "got 'nan'"),
        ((*RUN, "--duration", "inf"), "got 'inf'"),
        ((*RUN, "--duration", "1e9"), "at most 1000000 s"),
        ((*RUN, "--duration", "1e400"), "got '1e400 s'"),
        ((*RUN, "--duration", "3klx"), "a time in ns, us, ms, s, min or h"),
        ((*RUN, "--duration", "10 d"), "got '10 d'"),
        ((*RUN, "--duration", "١٢"), "got '١٢'"),
        ((*RUN, "--duration", ""), "got nothing"),
        ((*RUN, "--seed", "-1"), "got '-1', expected a whole number, 0 to 9223372036854775807"),
        ((*RUN, "--seed", "9223372036854775808"), "expected a whole number"),
        ((*RUN, "--seed", "1.5"), "got '1.5'"),
        ((*RUN, "--walkers", "0"), "got '0', expected a whole number, 1 to 10000"),
        ((*RUN, "--walkers", "-3"), "got '-3'"),
        ((*RUN, "--walkers", "1e9"), "got '1e9'"),
        ((*RUN, "--walkers", "1000000000"), "1 to 10000"),
        ((*RUN, "--walkers", "9" * 5000), "1 to 10000"),
        ((*RUN, "--threads", "0"), "1 to 1024"),
        ((*RUN, "-d", "lentil", "--walkers", "10000"), "20000 walkers are to run"),
        ((*RUN, "--walkers", "10000"), "10000 walkers are to start, but 'open bench' lists 8 start places"),
        (("run", "potting-bench", "-d", "poppy", "--walkers", "10000"), "ask for fewer"),
        (("run", "potting-bench", "-d", "poppy", "--walkers", "150"), "has room for"),
        ((*RUN, "-d", "poppy"), "entered twice"),
        (("run", "poppy", "-d", "poppy"), "no shipped arena of this name"),
        (("run", "poppy", "-d", "poppy"), "(poppy is a design)"),
        (("bench", "leaf-shade"), "no shipped design of this name (leaf-shade is an arena)"),
        (("run", "open-bench", "-d", "popy"), "nearest: poppy"),
        (("run", "open-bench", "-d", "."), ".: a folder without a YAML file"),
        (("run", "open-bench", "-d", ""), "no shipped design"),
        (("run", "./nowhere.yaml", "-d", "poppy"), "./nowhere.yaml: no such file"),
        (("bench", "poppy", "--light", "3"), "got '3', expected an illuminance with its unit"),
        (
            ("bench", "poppy", "--at", "-300 degC"),
            "a temperature with its unit, like 35 degC, -40 degC to 85",
        ),
        (("bench", "poppy", "--at", "300 K"), "got '300 K', expected a temperature in degC"),
        (("bench", "poppy", "--at", "500 degC"), "got '500 degC'"),
        (("bench", "poppy", "--at", "35"), "got '35'"),
        (("bench", "poppy", "--between", "40 degC..0 degC"), "upside down, expected the colder one first"),
        (("bench", "poppy", "--between", "40 degC"), "two values with dots between"),
        (("bench", "poppy", "--between", "0 degC..500 degC"), "got '500 degC'"),
        (("bench", "poppy", "--light", "3V"), "an illuminance in mlx, lx, klx or Mlx"),
        (("bench", "poppy", "--light", "3KLX"), "nearest: 3 klx"),
        (("bench", "poppy", "--light", "3MLX"), "nearest: 3 Mlx"),
        (("bench", "poppy", "--light", "-5 lx"), "0 lx to 1 Mlx"),
        (("bench", "poppy", "--light", "nan lx"), "got 'nan lx'"),
        (("bench", "poppy", "--light", "2e6 lx"), "0 lx to 1 Mlx"),
        (("bench", "poppy", "--kind", "daylite"), "nearest: daylight"),
        (("score", "nowhere.npz"), "nowhere.npz: there is no such file"),
        (("score", "."), "cannot be read"),
        (("watch", "nowhere.npz"), "nowhere.npz: there is no such file"),
        (("picture", "nowhere.npz", "-o", "a.png"), "nowhere.npz: there is no such file"),
        (("check", "popy"), "nearest: poppy"),
        (("check", "."), "is a folder"),
        (("check", ""), "an empty name"),
        (("check", "x" * 5000), "name too long"),
        (("bench", f"./{'x' * 5000}"), "name too long"),
        (("demo", "--folder", "nowhere"), "there is no folder nowhere"),
    ],
)
def test_options_and_names(arguments: tuple[str, ...], words: str) -> None:
    said = refusal(*arguments, code=1 if arguments[0] == "demo" else 2)
    assert words.lower() in said.lower()


@pytest.mark.parametrize(
    ("content", "words"),
    [
        ("", ":1:1: got an empty file"),
        ("# nothing but a remark\n", ":1:1: got an empty file"),
        ("- a\n- b\n", ":1:1: got a list, expected a map"),
        ("photodrome\n", ":1:1: got 'photodrome', expected a map"),
        (BOMB, "too many values"),
        (f"{DESIGN}about: {'[' * 5000}\n", "a deeper nesting"),
        (f"{DESIGN}about: {'x' * 3_000_000}\n", "a larger file"),
        (f"{DESIGN}storage:\n  capacitance: nan\n", ":4:16: storage.capacitance: got 'nan'"),
        (f"{DESIGN}storage:\n  capacitance: -2200 uF\n", ":4:16: storage.capacitance: got '-2200 uF'"),
        (f"{DESIGN}storage:\n  capacitance: 2200\n", ":4:16: storage.capacitance: got '2200'"),
        (f"{DESIGN}storag: {{}}\n", "nearest: storage"),
        (f"{DESIGN}name: lentil\n", "a second name, after that on line 2"),
        (ARENA, "expected a design file"),
        (DESIGN.replace("design 1", "design 2"), "a newer photodrome has written"),
        (DESIGN.replace("borage", '"a\\e[31mb"'), ":2:7: name: got the character '\\x1b'"),
        (DESIGN.replace("borage", '"a\\u202Eb"'), ":2:7: name: got the character '\\u202e'"),
        (DESIGN.replace("borage", '"\\uD800"'), ":2:7: name: got the character '\\ud800'"),
        (DESIGN.replace("borage", '"a\\nb"'), ":2:7: name: got 'a\\nb', expected a name in one line"),
        (DESIGN.replace("borage", '"   "'), ":2:7: name: got '   ', expected a name in one line"),
        (DESIGN.replace("borage", "b" * 41), ":2:7: name: got"),
        (f'{DESIGN}"st\\e[2Jorage": {{}}\n', ":3:1"),
        (DESIGN.encode() + b"about: caf\xe9\n", ":3:11: got the byte 0xe9, expected text in UTF-8"),
        (bytes(range(256)), "expected text in UTF-8"),
        (b"photodrome: design 1\nname: a\0b\n", ":2:8: got the character '\\x00'"),
        (DESIGN.encode("utf-16"), ":1:1: got the byte 0xff"),
    ],
)
def test_design_files(content: str | bytes, words: str) -> None:
    Path("own.yaml").write_bytes(content if isinstance(content, bytes) else content.encode())
    for arguments in (("run", "open-bench", "-d", "own.yaml"), ("bench", "own.yaml")):
        said = refusal(*arguments)
        assert said.startswith("own.yaml:")
        assert words in said
        assert said.replace("\n", "").isprintable()


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (f"{ARENA}walls:\n  - name: tray\n    line: 0.5 0.5 / 0.5 0.5 m\n", "walls[0].line"),
        (ARENA.replace("0 0 / 1 0 / 1 1 / 0 1 m", "0 0 / 1 1 / 1 0 / 0 1 m"), "floor.outline"),
        (ARENA.replace("0.7 0.7 m", "7 7 m"), "starts.places[1].place"),
        (ARENA.replace("name: shed floor", "name: [shed]"), ":2:1: name: got a list"),
        (DESIGN, "expected an arena file"),
    ],
)
def test_arena_files(content: str, words: str) -> None:
    Path("own.yaml").write_text(content, encoding="utf-8")
    said = refusal("run", "own.yaml", "-d", "poppy")
    assert said.startswith("own.yaml:")
    assert words in said


def test_check_tells_all_faults_of_all_files() -> None:
    Path("one.yaml").write_text(f"{DESIGN}storage: {{capacitance: nan}}\npanle: {{}}\n", encoding="utf-8")
    Path("two.yaml").write_text(f"{ARENA}lasts: 5 V\n", encoding="utf-8")
    told = photodrome("check", "one.yaml", "poppy", "nowhere", "two.yaml")
    assert (told.code, told.out) == (2, "poppy: design poppy, nothing wrong\n")
    starts = [line.split(" ")[0] for line in told.err.splitlines()]
    assert starts == ["one.yaml:3:24:", "one.yaml:4:1:", "'nowhere':", "two.yaml:11:8:"]
    answer = photodrome("check", "one.yaml", "poppy", "nowhere", "two.yaml", "--json")
    assert (answer.code, answer.err) == (2, "")
    files = answer.json()["files"]
    assert [len(one["faults"]) for one in files] == [2, 0, 1, 1]
    faults = [fault for one in files for fault in one["faults"]]
    keys = {"file", "line", "column", "key", "got", "expected", "near", "message"}
    assert all(set(fault) == keys for fault in faults)
    assert [fault["message"] for fault in faults] == told.err.splitlines()


@pytest.mark.parametrize("command", [("score",), ("watch",), ("check",), ("picture", "-o", "a.png")])
def test_damaged_and_foreign_replays(command: tuple[str, ...], good: Path) -> None:
    whole = good.read_bytes()
    for share in (0.0, 0.01, 0.5, 0.99):
        good.write_bytes(whole[: int(share * len(whole))])
        assert "cut short" in refusal(*command, good)
    middle = len(whole) // 2
    good.write_bytes(whole[:middle] + bytes([whole[middle] ^ 0xFF]) + whole[middle + 1 :])
    assert "damaged" in refusal(*command, good)
    np.savez(good, something=np.zeros(3))
    assert "no photodrome replay" in refusal(*command, good)
    good.write_bytes(_with_header(whole, b'"version":2', b'"version":3'))
    assert "replay of version 3, this program reads versions 1 to 2" in refusal(*command, good)


def _with_header(whole: bytes, old: bytes, new: bytes) -> bytes:
    """A replay in whose header one text is put for another of the same length."""
    assert len(old) == len(new)
    stream = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(whole)) as before, zipfile.ZipFile(stream, "w") as after:
        for info in before.infolist():
            content = before.read(info)
            if info.filename == "header.npy":
                assert content.count(old) == 1
                content = content.replace(old, new)
            after.writestr(info, content)
    return stream.getvalue()


def test_names_in_a_replay_cannot_steer_the_terminal(good: Path) -> None:
    replay = read_replay(good)
    [design] = replay.header["designs"]
    header = {**replay.header, "designs": [{**design, "name": "a\x1b[2J[red]b[/red] [/i]\r:seedling:"}]}
    header["arena"] = {**header["arena"], "name": "\x1b]0;shed\x07"}
    with pytest.raises(ReplayError, match="text without letters that steer a terminal") as caught:
        write_replay(dataclasses.replace(replay, header=header), Path("bad.npz"))
    assert str(caught.value).isprintable()
    assert not Path("bad.npz").exists()


def test_a_name_that_looks_like_markup_is_shown_as_it_is() -> None:
    Path("own.yaml").write_text(
        "photodrome: design 1\nname: '[red]x[/red] [/b]'\nabout: '[bold]y [/nope] :fire:'\n", encoding="utf-8"
    )
    Path("floor.yaml").write_text(ARENA.replace("shed floor", "'[/shed]'"), encoding="utf-8")
    ran = photodrome("run", "floor.yaml", "-d", "own.yaml", "--duration", "1")
    assert (ran.code, ran.err) == (0, "")
    assert ran.out.startswith("[/shed]: 2 walkers, 1.0 s")
    assert "[red]x[/red] [/b]" in ran.out
    sheet = photodrome("bench", "own.yaml", "-l", "3klx", "--no-cures")
    assert (sheet.code, sheet.err) == (0, "")
    assert sheet.out.startswith("[red]x[/red] [/b]: [bold]y [/nope] :fire:\n")


def test_nothing_counts_twice(good: Path) -> None:
    assert "given twice" in refusal("score", good, f"./{good}")
    for name in ("one.yaml", "two.yaml"):
        Path(name).write_text(DESIGN, encoding="utf-8")
    said = refusal("run", "open-bench", "-d", "one.yaml", "-d", "two.yaml")
    assert "one.yaml and two.yaml are both called 'borage'" in said


def test_no_input_is_written_over(good: Path) -> None:
    Path("own.yaml").write_text(DESIGN, encoding="utf-8")
    Path("floor.yaml").write_text(ARENA, encoding="utf-8")
    run = ("run", "floor.yaml", "-d", "own.yaml", "--duration", "1")
    for out in ("own.yaml", "./floor.yaml"):
        assert "is an input" in refusal(*run, "--out", out)
    for command in ("picture", "film"):
        assert "is an input" in refusal(command, good, "--out", good)


def test_places_where_nothing_can_be_written(good: Path) -> None:
    for command in (RUN, ("picture", good)):
        assert "is a directory" in refusal(*command, "--out", ".", code=2)
        assert "it is a folder" in refusal(*command, "--out", "", code=1)
    for out in ("nowhere/a", f"{good}/a", "x" * 300):
        assert f"{out}: cannot be written" in refusal(*RUN, "--out", out, code=1)
        assert f"{out}: cannot be written" in refusal("picture", good, "--out", out, code=1)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ((*DRAW, "--at", "1e5"), "the run lasts from 0 s to"),
        ((*DRAW, "--size", "poster"), "give slide, phone, or width x height"),
        ((*FILM, "--to", "1e5"), "the run lasts from 0 s to"),
        ((*FILM, "--out", "a.webm"), "a film ends in .gif, .png or .mp4"),
    ],
)
@pytest.mark.usefixtures("good")
def test_what_cannot_be_drawn_or_filmed(arguments: tuple[str, ...], words: str) -> None:
    assert words in refusal(*arguments)


@pytest.mark.parametrize("name", ["x.jpg", "x", "x.png.bmp", ".png"])
def test_a_picture_under_a_name_of_another_sort(good: Path, name: str) -> None:
    assert "expected a name that ends in .png" in refusal("picture", good, "--out", name)


def test_demo_writes_nothing_where_one_of_its_files_cannot_be() -> None:
    Path("demo.png").mkdir()
    assert "demo.png: cannot be written (it is a folder)" in refusal("demo", "--duration", "1", code=1)


@pytest.mark.skipif(sys.platform == "win32", reason="folders are closed in another way")
def test_a_folder_that_is_closed_to_writing(good: Path) -> None:
    folder = Path("/proc/self") if os.geteuid() == 0 else Path("closed")
    folder.mkdir(mode=0o555, exist_ok=True)
    if not folder.is_dir():
        pytest.skip("nothing is closed to root here")
    assert "cannot be written" in refusal(*RUN, "--duration", "1", "--out", folder / "a.npz", code=1)
    assert "cannot be written" in refusal("picture", good, "--out", folder / "a.png", code=1)
    assert "cannot be written" in refusal("demo", "--folder", folder, code=1)


@pytest.mark.skipif(sys.platform == "win32", reason="files are closed in another way")
def test_a_file_that_is_closed_to_reading() -> None:
    closed = Path("./closed.yaml")
    if os.geteuid() == 0:
        # memory at address 0 is mapped for nobody, so that reading fails for root too
        closed = Path("/proc/self/mem")
        if not closed.exists():
            pytest.skip("nothing is closed to root here")
    else:
        closed.write_text(DESIGN, encoding="utf-8")
        closed.chmod(0)
    for arguments in (("check", closed), ("bench", f"./{closed}" if closed.name == str(closed) else closed)):
        assert f"{closed}: cannot be read" in refusal(*arguments)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="there are no devices among the files here")
def test_a_device_is_neither_replaced_nor_read_for_ever(good: Path) -> None:
    # A pipe in the file system stands for all that is no file; tests had better not touch real devices.
    os.mkfifo("pipe")
    assert "something that is no file stands there" in refusal(*RUN, "--out", "pipe", code=1)
    assert "something that is no file stands there" in refusal("picture", good, "--out", "pipe", code=1)
    assert Path("pipe").is_fifo()
    assert "is no ordinary file" in refusal("check", "pipe")
    assert "is no ordinary file" in refusal("bench", "./pipe")


@pytest.mark.skipif(sys.platform == "win32", reason="links need a privilege there")
def test_a_link_stays_a_link() -> None:
    Path("real").mkdir()
    Path("link").symlink_to("real/a.npz")
    assert photodrome(*RUN, "--duration", "1", "--out", "link").code == 0
    assert Path("link").is_symlink()
    assert [path.name for path in Path("real").iterdir()] == ["a.npz"]
    assert photodrome("score", "real/a.npz").code == 0


def test_a_full_disk_leaves_what_stood_there() -> None:
    resource = pytest.importorskip("resource")
    Path("old").write_bytes(b"kept")
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (1000, hard))
    try:
        check_writable(Path("old"))
        with pytest.raises(OutputError, match="old: cannot be written"):
            write_whole(Path("old"), bytes(5000))
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    assert listing() == {"old": b"kept"}
