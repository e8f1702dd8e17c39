"""A small share of the soak, and that it would tell of memory that grows and of energy that goes astray."""

import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from tests.benchmarks.soak import Soaked, soak_swarm

ROOT = Path(__file__).resolve().parents[2]
MB = 1_000_000


def both(held: np.ndarray) -> np.ndarray:
    """As it is measured where nothing that is free is kept."""
    return np.column_stack([held, held])


def test_a_share_of_it_holds_what_the_whole_promises() -> None:
    """In a process of its own, for what other tests leave is not to be measured."""
    done = subprocess.run(
        [sys.executable, "-m", "tests.benchmarks.soak", "--pulses", "20000", "--frames", "400"],
        cwd=ROOT, capture_output=True, text=True, timeout=500, check=False,
    )  # fmt: skip
    assert (done.returncode, done.stderr) == (0, ""), done.stdout + done.stderr
    pulses, frames = (
        int(re.search(rf"^([\d,]+) {what} in \d+ s$", done.stdout, re.MULTILINE)[1].replace(",", ""))
        for what in ("pulses", "frames")
    )
    assert pulses > 15_000
    assert frames == 400


def test_memory_that_grows_is_told() -> None:
    flat = 200 * MB + MB * (np.arange(180) % 8)
    assert Soaked(1, 1.0, both(flat), np.zeros(0)).faults() == []
    grown = 200 * MB + 0.1 * MB * np.arange(180)
    (fault,) = Soaked(1, 1.0, both(grown), np.zeros(0)).faults()
    assert fault.startswith("memory of the quarters is apart by 6.")


@pytest.mark.parametrize(
    ("off", "told"),
    [
        (np.full(20, 5e-3), []),
        (np.full(20, -2e-2), ["the balance is off by up to 2.00 %"]),
        (np.linspace(0.0, 5e-3, 20), ["the balance drifts by 0.37 %"]),
    ],
)
def test_energy_that_goes_astray_is_told(off: np.ndarray, told: list[str]) -> None:
    assert Soaked(1, 1.0, both(np.full(180, 200.0 * MB)), off).faults() == told


def test_what_a_motor_would_take_besides_shows_in_the_balance(monkeypatch: pytest.MonkeyPatch) -> None:
    """A ledger that leaves out 2 % of what the motors took does not close."""
    from tests.benchmarks import soak

    whole = soak._ledger
    monkeypatch.setattr(soak, "_ledger", lambda batch: whole(batch) * np.array([1, 1, 0.9, 1, 1, 1, 1]))
    found = soak_swarm(2000, 20)
    assert np.max(np.abs(found.off)) > 1e-2
    assert any("the balance is off" in fault for fault in found.faults())
