"""The command line, used as meant: what it prints, what it writes, and JSON for other programs."""

import json
import re
import shlex
import sys
from pathlib import Path

import pytest

from agents.text.shipped import shipped_names
from arena.cli.bench_and_run_report import _SCORES
from arena.cli.command import photodrome as commands
from replays.format.replay_file import read_replay
from replays.scoring.scores import EXPLANATIONS
from tests.helpers.commands import ARENA, DESIGN, HEAVY, finished, photodrome, refusal
from tests.helpers.promised_keys import POINT_KEYS, SCORE_KEYS

COMMANDS = (
    *("demo", "run", "score", "watch", "try", "picture", "film", "bench", "check"),
    *("sweep", "tune", "kit", "race", "pick", "fit", "sheet", "new", "schema"),
)


@pytest.fixture(autouse=True)
def _own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def test_help_of_every_command_answers_without_what_the_work_needs() -> None:
    code = f"""
import json, sys, contextlib, io
from arena.cli.command import main, photodrome
answers = {{}}
for name in ["", *photodrome.commands]:
    out = io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.suppress(SystemExit):
        main([*name.split(), "--help"])
    answers[name] = out.getvalue()
print(json.dumps([answers, [name for name in {HEAVY} if name in sys.modules]]))
sys.exit(0)
"""
    outcome = finished(code=code)
    assert outcome.err == ""
    answers, imported = json.loads(outcome.out)
    assert imported == []
    assert set(answers) == {"", *COMMANDS}
    for name, text in answers.items():
        assert text.startswith(f"Usage: photodrome {name}".rstrip())
        options = commands.commands[name].params if name else []
        for option in options:
            named = option.human_readable_name
            assert max(option.opts, key=len) in text or named in text or named.upper() in text


def test_no_command_shows_the_help_where_errors_go() -> None:
    outcome = photodrome()
    assert (outcome.code, outcome.out) == (2, "")
    assert all(name in outcome.err for name in commands.commands)
    version = photodrome("--version")
    assert version.code == 0
    assert version.out.split()[-1][0].isdigit()


def test_run_writes_a_replay_that_can_be_scored_and_drawn() -> None:
    ran = photodrome("run", "open-bench", "-d", "poppy", "--walkers", "2", "--duration", "60", "--json")
    assert (ran.code, ran.err) == (0, "")
    answer = ran.json()
    assert answer["files"] == ["run.replay.npz"]
    assert (answer["arena"], answer["seconds"], answer["seed"]) == ("open bench", 60.0, 1)
    [design] = answer["designs"]
    assert set(design) >= SCORE_KEYS
    assert (design["design"], design["walkers"]) == ("poppy", 2)
    assert design["pulses"] == len(read_replay(Path("run.replay.npz")).pulses) > 0

    scored = photodrome("score", "run.replay.npz", "--json").json()
    assert (design["faults"], 1e3 < design["stood_in_lx"] < 3e3) == ([], True)
    assert scored["designs"] == [
        {key: value for key, value in design.items() if key not in ("faults", "stood_in_lx", "eye_lx")}
    ]

    table = photodrome("score", "run.replay.npz")
    assert (table.code, table.err) == (0, "")
    assert f"{design['progress']:.2f}" in table.out
    # in a minute it has not gone as far as it is wide
    assert (design["hardly_moved"], design["directness"]) == (2, None)

    drawn = photodrome("picture", "run.replay.npz", "--out", "run.png", "--width", "800")
    assert (drawn.code, drawn.err) == (0, "")
    # the signature of the PNG specification (ISO/IEC 15948), 5.2
    assert Path("run.png").read_bytes().startswith(b"\x89PNG\r\n\x1a\n")
    assert sorted(path.name for path in Path().iterdir()) == ["run.png", "run.replay.npz"]


def test_run_names_the_faults_of_every_entry_in_the_light_in_which_it_stood() -> None:
    entries = ("poppy", "thistle-spins", "nettle-twitches")
    arguments = ("open-bench", *(word for name in entries for word in ("-d", name)), "--walkers", "1")
    ran = photodrome("run", *arguments, "--duration", "20 min", "--json")
    poppy, thistle, nettle = ran.json()["designs"]
    assert (poppy["faults"], thistle["faults"], nettle["faults"]) == ([], ["spin"], ["twitch", "lame"])
    assert 1e3 < nettle["stood_in_lx"] < 4e3
    assert (nettle["hardly_moved"], nettle["directness"], nettle["aim"]) == (1, None, None)
    assert nettle["stuck_share"] > 0.95 > 0.5 > thistle["stuck_share"]
    # more than half round, which a heading alone could not tell
    assert thistle["median_turn_deg"] > 180.0
    table = photodrome("run", *arguments, "--duration", "20 min").out
    for entry, faults in (
        ("poppy", "none"),
        ("thistle that spins", "spin"),
        ("nettle that twitches", "twitch, "),
    ):
        [line] = [line for line in table.splitlines() if entry in line and "klx" in line]
        assert re.split(r"k?lx  +", line)[-1].strip().startswith(faults)


def test_run_tells_why_each_walker_fared_as_it_did() -> None:
    arguments = (
        "open-bench",
        "-d",
        "poppy",
        "-d",
        "nettle-twitches",
        "--walkers",
        "1",
        "--duration",
        "15 min",
    )
    ran = photodrome("run", *arguments, "--why", "--tries", "3", "--json")
    assert (ran.code, ran.err) == (0, "")
    poppy, nettle = ran.json()["accounts"]
    assert (poppy["outcome"]["place"], nettle["outcome"]["place"]) == (1, 2)
    assert (nettle["cause"], nettle["tried"], len(nettle["sentences"])) == ("hardly moves", 3, 3)
    assert nettle["change"]["values"].keys() == {"both.latch"}
    table = photodrome("run", *arguments, "--why", "--tries", "0").out.replace("\n", " ")
    for sentence in (*poppy["sentences"][:2], *nettle["sentences"][:2]):
        assert " ".join(sentence.split()) in " ".join(table.split())
    assert "tried in this race" not in table
    assert "accounts" not in photodrome("run", *arguments, "--json").json()


def test_scores_of_several_replays_count_all_their_walkers() -> None:
    for seed in ("1", "2"):
        arguments = (
            "-d",
            "cress",
            "--walkers",
            "2",
            "--duration",
            "5",
            "--seed",
            seed,
            "--out",
            f"{seed}.npz",
        )
        assert photodrome("run", "open-bench", *arguments).code == 0
    [design] = photodrome("score", "1.npz", "2.npz", "--json").json()["designs"]
    assert design["walkers"] == 4


def test_the_same_command_gives_the_same_bytes_for_any_number_of_threads() -> None:
    for number, out in (("1", "one.npz"), ("2", "two.npz")):
        arguments = ("-d", "poppy", "--walkers", "3", "--duration", "5 min", "--alone", "--threads", number)
        assert photodrome("run", "open-bench", *arguments, "--out", out).code == 0
    assert Path("one.npz").read_bytes() == Path("two.npz").read_bytes()


@pytest.mark.parametrize("text", ["90", "90 s", "1.5 min", "9e1", "0.025 h", " +90.0 "])
def test_a_time_may_be_written_in_several_ways(text: str) -> None:
    Path("dark.yaml").write_text(ARENA.replace("10 klx", "0 lx"), encoding="utf-8")
    ran = photodrome("run", "dark.yaml", "-d", "poppy", "--duration", text, "--json")
    assert ran.json()["seconds"] == 90.0


def test_a_dark_arena_runs_and_scores_what_is_defined() -> None:
    dark = ARENA.replace("ambient:\n  illuminance: 10 klx\n", "")
    assert "klx" not in dark
    Path("dark.yaml").write_text(dark, encoding="utf-8")
    ran = photodrome("run", "dark.yaml", "-d", "poppy", "--duration", "1 h", "--json")
    assert (ran.code, ran.err) == (0, "")
    [design] = ran.json()["designs"]
    undefined = SCORE_KEYS - {"design", "walkers", "contacts", "stuck_share", "hardly_moved"}
    assert {key for key in SCORE_KEYS if design[key] is None} == undefined
    assert (design["walkers"], design["pulses"], design["contacts"], design["stuck_share"]) == (2, 0, 0, 1.0)
    table = photodrome("score", "run.replay.npz")
    assert table.code == 0
    assert "–: undefined: " in table.out
    assert photodrome("picture", "run.replay.npz", "-o", "dark.png").code == 0


def test_the_table_has_a_row_for_every_score() -> None:
    shown = [key for _, key, _ in _SCORES]
    # who reached a goal stands beside the share
    assert sorted([*shown, "reached"]) == sorted(EXPLANATIONS)


def test_bench_gives_the_keys_to_build_on() -> None:
    arguments = ("poppy", "--light", "0 lx", "--light", "3klx", "--light", "1000klx")
    answer = photodrome("bench", *arguments, "--no-cures", "--json").json()
    assert answer["design"] == "poppy"
    dark, window, glare = answer["points"]
    assert all(set(point) >= POINT_KEYS for point in answer["points"])
    assert [point["light_lx"] for point in answer["points"]] == [0.0, 3e3, 1e6]
    for point, fault in ((dark, "dim"), (glare, "blind")):
        assert (point["fires"], point["faults"]) == (False, [fault])
        assert all(point[key] is None for key in ("charge_s", "pulse_s", "let_go_V", "turn_deg", "advance_m"))
    assert window["fires"] is True
    assert photodrome("bench", "poppy", "--light", "0lx", "--light", "1Mlx", "--json").json()["diagnosis"]
    assert all(isinstance(window[key], float) for key in POINT_KEYS - {"fires", "faults"})


def test_bench_names_faults_with_cause_and_cure() -> None:
    sheet = photodrome("bench", "nettle-twitches", "-l", "3klx", "-l", "1klx")
    assert (sheet.code, sheet.err) == (0, "")
    assert sheet.out.index(" 1 klx") < sheet.out.index(" 3 klx")
    assert "twitch" in sheet.out
    assert "cure 1: " in sheet.out
    answer = photodrome("bench", "nettle-twitches", "-l", "3klx", "--json").json()
    assert [report["fault"] for report in answer["diagnosis"]] == answer["points"][0]["faults"]
    assert "twitch" in answer["points"][0]["faults"]


def test_a_bench_sheet_says_whose_figures_it_gives_where_the_sides_differ() -> None:
    words = "figures are those of the side that fires first in even light"
    for name, differ in (("cress", True), ("poppy", False)):
        assert (words in photodrome("bench", name, "-l", "3klx").out) == differ


def test_a_design_that_says_nothing_of_itself() -> None:
    Path("own.yaml").write_text(DESIGN, encoding="utf-8")
    assert photodrome("bench", "own.yaml", "-l", "3klx").out.startswith("borage\n")
    arguments = ("run", "open-bench", "-d", "./own.yaml", "--walkers", "1", "--duration", "1")
    assert photodrome(*arguments).code == 0
    # the format of a replay wants text there
    assert read_replay(Path("run.replay.npz")).header["designs"][0]["about"] == "-"


@pytest.mark.parametrize(
    ("seconds", "shown"),
    [
        ("119", "119.0 s"),
        ("3599", "59 min 59 s"),
        ("1 h", "1 h 00 min"),
        ("7380", "2 h 03 min"),
        ("7409", "2 h 03 min"),
    ],
)
def test_a_long_time_is_told_in_hours(seconds: str, shown: str) -> None:
    Path("dark.yaml").write_text(ARENA.replace("10 klx", "0 lx"), encoding="utf-8")
    ran = photodrome("run", "dark.yaml", "-d", "poppy", "--duration", seconds)
    assert f", {shown}, seed 1" in ran.out.splitlines()[0]


def test_check_knows_every_shipped_file_and_every_kind_of_own_one() -> None:
    names = [*shipped_names("design"), *shipped_names("arena")]
    shipped = photodrome("check", *names)
    assert (shipped.code, shipped.err) == (0, "")
    assert len(shipped.out.splitlines()) == len(names)

    assert photodrome("run", "open-bench", "-d", "poppy", "--duration", "1", "--out", "plain").code == 0
    for form, content in {
        "lf.yaml": DESIGN.encode(),
        "crlf.yaml": DESIGN.replace("\n", "\r\n").encode(),
        "mark.yaml": b"\xef\xbb\xbf" + ARENA.encode(),
        "remark.yaml": b"# what follows\n\n" + ARENA.encode(),
        "no ending, ünd ein Rest": DESIGN.encode(),
    }.items():
        Path(form).write_bytes(content)
    files = sorted(path.name for path in Path().iterdir())
    answer = photodrome("check", "--json", *files).json()
    assert {one["file"]: one["is"] for one in answer["files"]} == {
        "crlf.yaml": "design borage",
        "lf.yaml": "design borage",
        "mark.yaml": "arena shed floor",
        "no ending, ünd ein Rest": "design borage",
        "plain": "replay of open bench with 8 walkers",
        "remark.yaml": "arena shed floor",
    }
    assert all(one["faults"] == [] for one in answer["files"])


def test_a_byte_order_mark_makes_no_other_design() -> None:
    Path("plain.yaml").write_text(DESIGN, encoding="utf-8")
    Path("mark.yaml").write_text(DESIGN, encoding="utf-8-sig")
    Path("windows.yaml").write_bytes(DESIGN.replace("\n", "\r\n").encode("utf-8-sig"))
    outs = []
    for name in ("plain", "mark", "windows"):
        outs.append(f"{name}.npz")
        arguments = ("open-bench", "-d", f"./{name}.yaml", "--walkers", "1", "--duration", "1")
        assert photodrome("run", *arguments, "--out", outs[-1]).code == 0
    [design] = photodrome("score", *outs, "--json").json()["designs"]
    assert design["walkers"] == 3


@pytest.mark.parametrize("name", ["with space.npz", "grün.npz", "it's.npz", "-leading.npz"])
def test_what_run_proposes_can_be_typed(name: str) -> None:
    ran = photodrome("run", "open-bench", "-d", "poppy", "--duration", "1", f"--out={name}")
    assert ran.code == 0
    [line] = [line for line in ran.out.splitlines() if "photodrome watch" in line]
    *_, file = shlex.split(line.partition("to see it: ")[2])
    assert not file.startswith("-")
    assert Path(file).samefile(Path(name))


def test_demo_runs_scores_and_draws_a_contest_of_three() -> None:
    demo = photodrome("demo", "--duration", "5 min", "--walkers", "2")
    assert (demo.code, demo.err) == (0, "")
    assert "demo.replay.npz" in demo.out
    assert "demo.png" in demo.out
    (line,) = [line for line in demo.out.splitlines() if line.startswith("on one floor: ")]
    assert line.endswith("; more: photodrome score demo.replay.npz"), "a line, and no second table"
    scored = photodrome("score", "demo.replay.npz", "--json").json()
    assert len(scored["designs"]) == 3
    assert all(one["design"] in demo.out and one["walkers"] == 2 for one in scored["designs"])
    assert f"spread {scored['crowds'][0]['spread']:.2f} " in line
    Path("deep").mkdir()
    answer = photodrome("demo", "--duration", "5", "--folder", "deep", "--json").json()
    assert [Path(file) for file in answer["files"]] == [Path("deep/demo.replay.npz"), Path("deep/demo.png")]
    assert all(Path(file).is_file() for file in answer["files"])
    assert all(set(one) >= SCORE_KEYS for one in answer["designs"])


@pytest.mark.parametrize("name", ["demo.png", "demo.replay.npz"])
def test_a_demo_leaves_files_of_others_alone(name: str) -> None:
    """Nobody has named the files that it writes; its own are replaced, also through no link."""
    short = ("demo", "--duration", "5", "--no-window")
    Path(name).write_text("mine")
    assert f"{name} would be written over" in refusal(*short)
    Path(name).rename("target")
    Path(name).symlink_to("target")
    assert f"{name} would be written over" in refusal(*short)
    Path(name).unlink()
    Path(name).symlink_to("nothing")
    assert f"{name} would be written over" in refusal(*short)
    assert not Path("nothing").exists()
    Path(name).unlink()
    for _ in range(2):
        assert photodrome(*short).code == 0
    Path(name).unlink()
    assert photodrome(*short).code == (0 if name == "demo.png" else 2)
    photodrome("run", "open-bench", "-d", "poppy", "--duration", "1", "--out", "demo.replay.npz")
    assert "demo.replay.npz and demo.png would be written over" in refusal(*short)


@pytest.mark.skipif(sys.platform != "linux", reason="a window would open where there is a screen")
def test_without_a_screen_watch_names_the_picture() -> None:
    assert photodrome("run", "open-bench", "-d", "poppy", "--duration", "1", "--out", "a.npz").code == 0
    no_screen = dict.fromkeys(("DISPLAY", "WAYLAND_DISPLAY", "SDL_VIDEODRIVER"))
    watched = finished("watch", "a.npz", environment=no_screen)
    assert (watched.code, watched.out) == (1, "")
    assert "photodrome picture" in watched.err
    assert "Traceback" not in watched.err
