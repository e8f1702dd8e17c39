"""The trials of a study on the workers of a Dask cluster; they are journaled here, as they come in.

A worker gets the text of the plan and of all its files, makes the study of it once, and runs whole chunks. A
worker with another version of the program, or one whose processor or libraries round otherwise, is told
instead of having its rows mixed in. Where a worker is lost, the scheduler gives its chunks to others.
"""

import contextlib
import logging
import queue
import socket
import threading
import time
from collections.abc import Generator, Sequence
from functools import lru_cache
from importlib import import_module
from itertools import islice
from typing import Any
from urllib.parse import urlsplit

import numpy as np

from agents.arrays import RecordArray
from agents.errors import InputError, OptionError, WorkError
from arena.studies.plans.study import Study
from arena.studies.running.rounding import arithmetic
from arena.studies.running.trials import run_chunk
from arena.studies.trial_scores import TRIAL

# Seconds for which the scheduler has to answer, and for which there may be no worker at all.
ANSWER_TIME = 10.0
PATIENCE = 60.0
# Seconds between two looks at the workers while nothing comes in.
LOOK_EVERY = 1.0


class Cluster:
    """A Dask cluster that is to run a study; a context manager lets go of it.

    ``arithmetic`` is that of its workers, see :func:`arena.studies.running.rounding.arithmetic`.
    """

    def __init__(self, study: Study, address: str) -> None:
        """Reach the scheduler at ``address``, like ``tcp://10.0.0.5:8786``, and ask its workers who they are.

        Raises OptionError where the Dask package is missing here or the address is none, WorkError where the
        scheduler cannot be reached, has no workers, or has some that would not give the same results.
        """
        try:
            # untyped in some versions, half typed in others
            distributed: Any = import_module("distributed")
        except ImportError:
            raise OptionError(
                "a cluster takes a package that is not installed: pip install 'photodrome[cluster]'"
            ) from None
        _check_reached(address)
        self._study, self._address = study, address
        self._payload = study.payload()
        _silence()
        self._client = _client_at(address, distributed)
        try:
            self.arithmetic = self._greet()
        except BaseException:
            self.close()
            raise

    def __enter__(self) -> "Cluster":
        return self

    def __exit__(self, *_exception: object) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the cluster."""
        # a scheduler that is lost cannot be told
        with contextlib.suppress(OSError, TimeoutError):
            self._client.close()

    def run_chunks(self, missing: Sequence[int]) -> Generator[tuple[int, RecordArray], None, None]:
        """The rows of chunks as they come in, each with its number.

        Raises WorkError where the scheduler is lost, where for a minute there has been no worker, or where a
        worker joins that would not give the same results.
        """
        numbers = iter(missing)
        at_work: dict[Any, int] = {}
        finished: queue.SimpleQueue[Any] = queue.SimpleQueue()
        seen = time.monotonic()
        try:
            while True:
                # some in advance, so that no worker waits; not all, so that the scheduler need not hold them
                room = max(4, 2 * self._threads()) - len(at_work)
                for number in islice(numbers, max(room, 0)):
                    future = self._client.submit(
                        _chunk, self._payload, number, self.arithmetic, pure=False, retries=0
                    )
                    at_work[future] = number
                    future.add_done_callback(finished.put)
                if not at_work:
                    return
                try:
                    future = finished.get(timeout=LOOK_EVERY)
                except queue.Empty:
                    if self._threads() > 0:
                        seen = time.monotonic()
                    elif time.monotonic() - seen > PATIENCE:
                        raise WorkError(
                            f"{self._address}: for {PATIENCE:.0f} s there has been no worker; start some, "
                            "and the same command goes on from what is kept"
                        ) from None
                    continue
                seen = time.monotonic()
                yield at_work.pop(future), self._rows(future)
        finally:
            self._client.cancel(list(at_work), force=True)

    def _rows(self, future: Any) -> RecordArray:
        try:
            content = future.result(timeout=ANSWER_TIME)
        except Exception as error:
            # whatever the cluster or the task raised, its class may not even be known here
            raise WorkError(
                f"{self._address}: the cluster gave up a chunk ({_line(error)}); the same "
                "command goes on from what is kept"
            ) from error
        if isinstance(content, str):
            raise WorkError(f"{self._address}: {content}")
        return np.frombuffer(content, TRIAL)

    def _threads(self) -> int:
        """Threads of all workers together; 0 where the scheduler does not answer."""
        try:
            return sum(self._client.nthreads().values())
        except (OSError, TimeoutError):
            return 0

    def _greet(self) -> str:
        """Ask every worker who it is, and return the arithmetic of all."""
        begun = time.monotonic()
        while self._threads() == 0:
            if time.monotonic() - begun > ANSWER_TIME:
                raise WorkError(f"{self._address}: the scheduler has no workers; start some first")
            time.sleep(LOOK_EVERY)
        answers = self._client.run(_greeting, self._payload, on_error="return")
        found: dict[str, str] = {}
        for worker, answer in answers.items():
            if isinstance(answer, OSError):
                # lost meanwhile
                continue
            if isinstance(answer, BaseException):
                raise WorkError(
                    f"{worker}: the worker cannot run photodrome ({_line(answer)}); "
                    "install the same version there"
                )
            rounding, refusal = answer
            if refusal:
                raise WorkError(f"{worker}: {refusal}")
            found[rounding] = worker
        if len(found) > 1:
            raise WorkError(f"{' and '.join(found.values())}: {OTHERWISE}")
        if not found:
            raise WorkError(f"{self._address}: all workers were lost while they were asked who they are")
        return next(iter(found))


OTHERWISE = (
    "these workers round otherwise, so that trials would not come out the same; use machines of one kind, "
    "with the same numpy and numba"
)


def _check_reached(address: str) -> None:
    """Raise at once where nothing listens; Dask itself would try for long."""
    try:
        parts = urlsplit(address)
        host, port = parts.hostname, parts.port
    except ValueError:
        host = port = None
    if not host or not port or parts.scheme not in ("tcp", "tls"):
        raise OptionError(f"{address}: no address of a scheduler; one looks like tcp://10.0.0.5:8786")
    try:
        socket.create_connection((host, port), timeout=ANSWER_TIME).close()
    except OSError as error:
        raise WorkError(
            f"{address}: no Dask scheduler can be reached there ({error.strerror or error}); is it running?"
        ) from error


def _line(error: BaseException) -> str:
    """An error in one line."""
    return " ".join(f"{type(error).__name__}: {error}".split())


def _silence() -> None:
    """Keep Dask from telling by tracebacks what is told here, as every lost connection."""
    for name in list(logging.root.manager.loggerDict):
        if name.partition(".")[0] == "distributed":
            logging.getLogger(name).setLevel(logging.CRITICAL + 1)


def _client_at(address: str, distributed: Any) -> Any:
    """A client of the scheduler at an address. Raises WorkError where none answers in time."""
    found: queue.SimpleQueue[Any] = queue.SimpleQueue()

    def reach() -> None:
        try:
            client = distributed.Client(address, timeout=ANSWER_TIME, set_as_default=False)
        except Exception as error:  # of a class of its own for every sort of transport
            found.put(error)
        else:
            found.put(client)

    # its own limit of time ends once a connection stands, whoever may be at the other end
    threading.Thread(target=reach, daemon=True).start()
    try:
        client = found.get(timeout=ANSWER_TIME + LOOK_EVERY)
    except queue.Empty:
        raise WorkError(f"{address}: something listens there, but not a Dask scheduler") from None
    if isinstance(client, Exception):
        raise WorkError(f"{address}: no Dask scheduler answers there ({_line(client)})") from client
    return client


@lru_cache(maxsize=2)
def _study_of(payload: str) -> Study:
    """The study of a payload, made once in the process of a worker."""
    return Study.from_payload(payload)


def _greeting(payload: str) -> tuple[str, str]:
    """What a worker says of itself: its arithmetic, and why it cannot run the study, or nothing."""
    try:
        _study_of(payload)
    except InputError as error:
        return arithmetic(), str(error)
    return arithmetic(), ""


def _chunk(payload: str, number: int, wanted: str) -> bytes | str:
    """The rows of a chunk as bytes, or why this worker must not run it."""
    rounding, refusal = _greeting(payload)
    if refusal:
        return f"{socket.gethostname()}: {refusal}"
    if rounding != wanted:
        return f"{socket.gethostname()}: {OTHERWISE}"
    return run_chunk(_study_of(payload), number).tobytes()
