"""A worker of which only the latest job counts."""

import time

import pytest

from agents.errors import OptionError
from arena.workbench.latest_worker import LatestWorker, ProgressReport


def test_work_that_crashes_or_fails_is_told_and_the_next_job_is_done() -> None:
    def work(job: int, report: ProgressReport[int]) -> int:
        report(0.5)
        if job == 1:
            raise OptionError("no room")
        if job == 2:
            raise ZeroDivisionError
        return job * job

    latest: LatestWorker[int, int] = LatestWorker("squares", work)

    def wait_for(job: int) -> None:
        latest.ask(job)
        until = time.monotonic() + 30.0
        while latest.busy:
            assert time.monotonic() < until
            time.sleep(0.001)

    wait_for(1)
    outcome = latest.take()
    assert outcome is not None
    assert (outcome.job, outcome.result, outcome.fault) == (1, None, "no room")
    wait_for(2)
    with pytest.raises(ZeroDivisionError):
        latest.take()
    wait_for(3)
    latest.drop()
    assert latest.take() is None
    wait_for(4)
    outcome = latest.take()
    assert outcome is not None
    assert outcome.result == 16
    assert latest.take() is None
    latest.close()
    assert latest.join(10.0)
