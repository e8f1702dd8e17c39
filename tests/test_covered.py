"""The limit that tests have as plain Python counts what they compute, fixtures too, and not the clock."""

import os
import subprocess
import sys
from pathlib import Path

from tests.covered import ROOT

TESTS = """
import time
import pytest

def compute():
    while True:
        pass

@pytest.fixture
def slow():
    compute()

def test_that_waits():
    time.sleep(0.5)

def test_that_computes():
    compute()

def test_of_a_fixture_that_computes(slow):
    assert False

def test_that_makes_another_error_of_it():
    try:
        compute()
    except BaseException as stopped:
        raise ValueError from stopped

def test_that_is_quick():
    pass

def test_that_fails():
    raise ValueError
"""


def test_what_computes_for_too_long_is_skipped_and_what_waits_is_not(tmp_path: Path) -> None:
    (tmp_path / "test_limit.py").write_text(TESTS, encoding="utf-8")
    variables = os.environ | {
        "PHOTODROME_PLAIN": "1",
        "PHOTODROME_PLAIN_SECONDS": "0.3",
        "PYTHONPATH": str(ROOT),
    }
    command = [sys.executable, "-m", "pytest", "-q", "-rs", "-p", "tests.conftest", "-p", "no:cacheprovider"]
    done = subprocess.run(
        [*command, "test_limit.py"], cwd=tmp_path, env=variables, capture_output=True, text=True, check=False
    )
    assert "1 failed, 2 passed, 3 skipped" in done.stdout, done.stdout + done.stderr
    assert "takes longer than 0.3 s as plain Python" in done.stdout
