"""The benchmark of replays runs, and its output can be read."""

import re

import pytest

from tests.benchmarks import replays as benchmark


def test_the_benchmark_prints_what_it_measured(capsys: pytest.CaptureFixture[str]) -> None:
    figures = benchmark.main(["--quick"])
    lines = capsys.readouterr().out.splitlines()
    told = [
        re.search(r"([\d,]+) walkers, .*: +([\d.]+) bytes a pulse, .*ratio ([\d.]+);", line) for line in lines
    ]
    rows = [found.groups() for found in told if found is not None]
    assert [int(walkers.replace(",", "")) for walkers, _, _ in rows] == list(figures) == [20, 200]
    for (_, size, ratio), figure in zip(rows, figures.values(), strict=True):
        assert float(size) == pytest.approx(figure, abs=0.06)
        assert float(ratio) > 1.1, "columns are smaller than tables"
