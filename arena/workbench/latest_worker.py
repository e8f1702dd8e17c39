"""Work on a thread of its own, of which only the latest that was asked for counts."""

import threading
from collections.abc import Callable
from dataclasses import dataclass
from typing import Generic, Protocol, TypeVar

from agents.errors import PhotodromeError

Job = TypeVar("Job")
Result = TypeVar("Result")

Seen = TypeVar("Seen", contravariant=True)


class ProgressReport(Protocol[Seen]):
    """What work calls to tell how far it is; it may raise, which is to end the work."""

    def __call__(self, done: float, so_far: Seen | None = None) -> None:
        """``done`` is the share of it, 0 to 1; ``so_far`` what can be shown of the result already."""


class SupersededError(Exception):
    """A newer job has come, or the window is closed: whoever tells of progress is stopped by this."""


@dataclass(frozen=True)
class JobResult(Generic[Job, Result]):
    """What came of a job: a result, or the ``fault`` in words."""

    job: Job
    result: Result | None
    fault: str = ""


class LatestWorker(Generic[Job, Result]):
    """Does ``work`` for the latest job; what is still under way for an older one is stopped."""

    def __init__(self, name: str, work: Callable[[Job, ProgressReport[Result]], Result]) -> None:
        """``work`` is given a job, and what it is to call to tell how far it is."""
        self._work = work
        self._news = threading.Condition()
        self._job: Job | None = None
        self._outcome: JobResult[Job, Result] | None = None
        self._crash: BaseException | None = None
        self._done = 0.0
        self._so_far: Result | None = None
        self._busy = False
        self._closed = False
        self._dropped = False
        self._thread = threading.Thread(target=self._run, name=name)

    def ask(self, job: Job) -> None:
        """Do this one, and no other any more."""
        with self._news:
            self._job, self._busy, self._done, self._so_far = job, True, 0.0, None
            # what an older job has brought is out of date
            self._outcome = None
            if not self._thread.is_alive() and not self._closed:
                self._thread.start()
            self._news.notify_all()

    @property
    def busy(self) -> bool:
        """Whether a job is waiting or under way."""
        return self._busy

    @property
    def done(self) -> float:
        """Share of the job that is done, 0 to 1; 0 until it has begun in earnest."""
        return self._done

    @property
    def so_far(self) -> Result | None:
        """What can be shown of the result of the job under way."""
        return self._so_far

    def take(self) -> JobResult[Job, Result] | None:
        """What has come out since the last call, once; None if nothing has. Raises what crashed the work."""
        with self._news:
            if self._crash is not None:
                crash, self._crash = self._crash, None
                raise crash
            outcome, self._outcome = self._outcome, None
            return outcome

    def drop(self) -> None:
        """Stop what is under way; nothing is wanted until the next job."""
        with self._news:
            self._job, self._outcome, self._busy = None, None, False
            self._dropped = True

    def close(self) -> None:
        """Stop what is under way, and take nothing new."""
        with self._news:
            self._closed, self._job, self._outcome = True, None, None
            self._news.notify_all()

    def join(self, timeout_s: float | None = None) -> bool:
        """Wait for the thread to end, at most ``timeout_s`` [s]; returns whether it has."""
        if self._thread.ident is not None:
            self._thread.join(timeout_s)
        return not self._thread.is_alive()

    def _report(self, done: float, so_far: Result | None = None) -> None:
        with self._news:
            if self._closed or self._dropped or self._job is not None:
                raise SupersededError
            self._done = done
            if so_far is not None:
                self._so_far = so_far

    def _run(self) -> None:
        while True:
            with self._news:
                while self._job is None and not self._closed:
                    self._news.wait()
                job, self._job = self._job, None
                self._dropped = False
                if self._closed or job is None:
                    return
            result: Result | None = None
            fault = ""
            try:
                result = self._work(job, self._report)
            except SupersededError:
                continue
            except PhotodromeError as error:
                fault = str(error)
            except BaseException as error:
                with self._news:
                    self._crash, self._busy = error, self._job is not None
                continue
            with self._news:
                if self._job is None and not self._closed and not self._dropped:
                    self._outcome, self._busy = JobResult(job, result, fault), False
