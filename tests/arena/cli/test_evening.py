"""The builder's evening of the README: each command as it stands there, and what is said to come of it."""

import json
import re
import shlex
import shutil
from pathlib import Path

import pytest

from agents.text.shipped import configs_folder
from tests.helpers.commands import ROOT, photodrome


def test_the_evening_of_the_readme(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    page = readme.split("\n### The builder's evening\n")[1].split("\n## ")[0]
    assert "copy `configs/parts/potting-shed.yaml` to `shed.yaml`" in page
    shutil.copy(configs_folder() / "parts" / "potting-shed.yaml", "shed.yaml")
    [table] = re.findall(r"```text\n(.*?)```", page, re.DOTALL)
    Path("readings.csv").write_text(table, encoding="utf-8")
    lines = "".join(re.findall(r"```sh\n(.*?)```", page, re.DOTALL)).splitlines()
    assert len(lines) == 6
    said = []
    for line in lines:
        program, *words = shlex.split(line)
        assert program == "photodrome"
        outcome = photodrome(*words)
        assert (outcome.code, outcome.err) == (0, "")
        if "--out" in words:
            assert Path(words[words.index("--out") + 1]).exists()
        said.append(outcome.out)
    fitted, benched = said[2], " ".join(said[3].split())
    assert "left eye trigger rise with light" in fitted
    assert "storage capacitance" in fitted
    assert "whiskers without effect" in benched
    cure = re.search(
        r"cure 2: no tape over the right eye, and \S+ out of the drawer as series resistor; "
        r"with it no fault is left",
        benched,
    )
    assert cure
    lights = ("--light", "1klx", "--light", "3klx", "--light", "10klx", "--light", "20klx")
    better = json.loads(photodrome("bench", "./better.yaml", *lights, "--no-cures", "--json").out)
    assert [point["faults"] for point in better["points"]] == [[]] * 4
    # the slip of a pen
    Path("readings.csv").write_text(table.replace("3,20", "2,20"), encoding="utf-8")
    assert "likely a slip, line 3" in photodrome("fit", "./mine.yaml", "readings.csv").out
