"""The benchmark of the day runs, and what it prints is what it measured."""

import re

import pytest

from tests.benchmarks import day as benchmark


def test_the_benchmark_prints_what_it_measured(capsys: pytest.CaptureFixture[str]) -> None:
    found = benchmark.main(["--walkers", "3", "--hours", "3"])
    lines = capsys.readouterr().out.splitlines()
    assert [line.split("  ")[0].strip() for line in lines[:3]] == list(found)
    for line, cost in zip(lines, found.values(), strict=False):
        pulses = re.search(r"([\d,]+) pulses", line)
        assert pulses is not None
        assert int(pulses[1].replace(",", "")) == cost.pulses > 10
    assert found["together"].steps == found["each alone"].steps > 300
    assert found["half tolerance"].steps == pytest.approx(2 * found["each alone"].steps, rel=0.2)
    assert re.fullmatch(r"as many pulses of walkers alone: [\d.]+ s; the day over that: [\d.]+", lines[-1])
