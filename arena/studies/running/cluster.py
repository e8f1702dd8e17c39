"""The trials of a study on the workers of a Dask cluster; they are journaled here, as they come in.

A worker gets the text of the plan and of all its files, makes the study of it once, and runs whole chunks. A
worker with another version of the program, or one whose processor or libraries round otherwise, is told
instead of having its rows mixed in. Where a worker is lost, the scheduler gives its chunks to others; a chunk
that it gives up for that is handed in again, ``HANDED_IN`` times in all.

What comes back is bytes, of which number, numbering and range are checked; nothing that a cluster sends is
unpickled (:mod:`arena.studies.running.unpickling`).
"""

import contextlib
import json
import logging
import queue
import threading
import time
from collections import Counter
from collections.abc import Generator, Sequence
from importlib import import_module
from itertools import islice
from typing import Any

import numpy as np

from agents.arrays import RecordArray
from agents.errors import OptionError, WorkError
from arena.studies.plans.study import Study
from arena.studies.running import cluster_address
from arena.studies.running.cluster_address import Address, Tls, check_reached, read_address, security
from arena.studies.running.cluster_worker import FAILURE, OTHERWISE, REFUSAL, ROWS, WHO, chunk, who
from arena.studies.running.trials import chunk_size
from arena.studies.running.unpickling import Foreign, nothing_unpickled
from arena.studies.trial_scores import TRIAL, misfit_of

# So often at the most is a chunk handed in that the cluster gives up, as it does after some lost workers.
HANDED_IN = 4
# Seconds for which there may be no worker at all.
PATIENCE = 60.0
# Seconds between two looks at the workers while nothing comes in.
LOOK_EVERY = 1.0
# The longest text that a worker is let say [letters], and bytes that it is let say of itself.
_MOST_TEXT, _MOST_WHO = 500, 5000


class Cluster:
    """A Dask cluster that is to run a study; a context manager lets go of it.

    ``arithmetic`` is that of its workers, see :func:`arena.studies.running.rounding.arithmetic`.
    """

    def __init__(self, study: Study, address: str, tls: Tls | None = None) -> None:
        """Reach the scheduler at ``address``, like ``tcp://10.0.0.5:8786``, and ask its workers who they are.

        Raises OptionError where the Dask package is missing here, the address is none, or certificates are
        missing or of no use; WorkError where the scheduler cannot be reached, has no workers, or has some
        that would not give the same results.
        """
        try:
            # untyped in some versions, half typed in others
            distributed: Any = import_module("distributed")
        except ImportError:
            raise OptionError(
                "a cluster takes a package that is not installed: pip install 'photodrome[cluster]'"
            ) from None
        files = tls or Tls()
        asked = read_address(address, files)
        check_reached(asked, files)
        self._study, self._address = study, address
        self._payload = study.payload()
        _silence()
        with contextlib.ExitStack() as stack:
            stack.enter_context(nothing_unpickled())
            self._client = _client_at(asked, files, distributed)
            stack.callback(self._let_go)
            self.arithmetic = self._greet()
            self._stack = stack.pop_all()

    def __enter__(self) -> "Cluster":
        return self

    def __exit__(self, *_exception: object) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the cluster."""
        self._stack.close()

    def _let_go(self) -> None:
        # a scheduler that is lost cannot be told
        with contextlib.suppress(Exception):
            self._client.close(timeout=LOOK_EVERY)

    def run_chunks(self, missing: Sequence[int]) -> Generator[tuple[int, RecordArray], None, None]:
        """The rows of chunks as they come in, each with its number.

        Raises WorkError where the scheduler is lost, where for a minute there has been no worker, where a
        chunk is given up again and again, or where a worker joins that would not give the same results, or
        says what cannot be.
        """
        numbers = iter(missing)
        at_work: dict[Any, int] = {}
        given_up: Counter[int] = Counter()
        finished: queue.SimpleQueue[Any] = queue.SimpleQueue()
        seen = time.monotonic()
        try:
            while True:
                # some in advance, so that no worker waits; not all, so that the scheduler need not hold them
                room = max(4, 2 * self._threads()) - len(at_work)
                for number in islice(numbers, max(room, 0)):
                    self._hand_in(number, at_work, finished)
                if not at_work:
                    return
                try:
                    future = finished.get(timeout=LOOK_EVERY)
                except queue.Empty:
                    if not self._is_connected():
                        raise WorkError(
                            f"{self._address}: the connection to the scheduler is broken; the same command "
                            "goes on from what is kept"
                        ) from None
                    if self._threads() > 0:
                        seen = time.monotonic()
                    elif time.monotonic() - seen > PATIENCE:
                        raise WorkError(
                            f"{self._address}: for {PATIENCE:.0f} s there has been no worker; start some, "
                            "and the same command goes on from what is kept"
                        ) from None
                    continue
                seen = time.monotonic()
                number = at_work.pop(future)
                if future.status == "error" and self._is_connected():
                    given_up[number] += 1
                    if given_up[number] < HANDED_IN:
                        self._hand_in(number, at_work, finished)
                        continue
                yield number, self._rows(number, future)
        finally:
            with contextlib.suppress(Exception):
                self._client.cancel(list(at_work), force=True)

    def _hand_in(self, number: int, at_work: dict[Any, int], finished: "queue.SimpleQueue[Any]") -> None:
        future = self._submit(chunk, self._payload, number, self.arithmetic)
        at_work[future] = number
        future.add_done_callback(finished.put)

    def _is_connected(self) -> bool:
        """Whether Dask still listens to the scheduler; it stops where it does not understand it."""
        listening = getattr(self._client, "_handle_report_task", None)
        is_over = listening is not None and listening.done()
        return self._client.status in ("running", "connecting") and not is_over

    def _submit(self, function: Any, *arguments: Any, **how: Any) -> Any:
        # each is run even if the cluster has seen the like; a worker that dies is no fault of the chunk
        return self._client.submit(function, *arguments, pure=False, retries=0, **how)

    def _said(self, future: Any, most: int) -> tuple[bytes, bytes]:
        """What a worker has said: the letter, and what follows."""
        try:
            content = future.result(timeout=cluster_address.ANSWER_TIME)
        except Exception as error:
            # whatever the cluster or the task raised, its class is not known here
            raise WorkError(
                f"{self._address}: the cluster gave up a chunk ({_line(error)}); the same command goes on "
                "from what is kept"
            ) from error
        if not isinstance(content, bytes) or not 0 < len(content) <= most:
            raise WorkError(f"{self._address}: a worker said what no worker of photodrome says")
        return content[:1], content[1:]

    def _rows(self, number: int, future: Any) -> RecordArray:
        size = chunk_size(self._study)
        first = number * size
        length = min(size, self._study.trials - first)
        letter, content = self._said(future, 1 + max(length * TRIAL.itemsize, 4 * _MOST_TEXT))
        if letter in (REFUSAL, FAILURE):
            raise WorkError(f"{self._address}: {_text(content)}; the same command goes on from what is kept")
        if letter == ROWS and len(content) == length * TRIAL.itemsize:
            rows = np.frombuffer(content, TRIAL)
            misfit = misfit_of(rows, first)
            if not misfit:
                return rows
        else:
            misfit = "they are not as many as they should be"
        raise WorkError(
            f"{self._address}: a worker sent rows of the trials from {first} on that cannot be: {misfit}; "
            "none of them is kept"
        )

    def _threads(self) -> int:
        """Threads of all workers together; 0 where the scheduler does not answer."""
        try:
            return sum(int(count) for count in self._client.nthreads().values())
        except Exception:
            # of classes of its own for every sort of transport
            return 0

    def _greet(self) -> str:
        """Ask every worker who it is, and return the arithmetic of all."""
        begun = time.monotonic()
        while self._threads() == 0:
            if time.monotonic() - begun > cluster_address.ANSWER_TIME:
                raise WorkError(f"{self._address}: the scheduler has no workers; start some first")
            time.sleep(LOOK_EVERY / 5.0)
        workers = list(self._client.nthreads())
        asked = {
            worker: self._submit(who, self._payload, workers=[worker], allow_other_workers=False)
            for worker in workers
        }
        found: dict[str, str] = {}
        for worker, future in asked.items():
            rounding = self._answer_of(str(worker), future)
            if rounding is not None:
                found[rounding] = str(worker)
        if len(found) > 1:
            raise WorkError(f"{' and '.join(found.values())}: {OTHERWISE}")
        if not found:
            raise WorkError(f"{self._address}: all workers were lost while they were asked who they are")
        return next(iter(found))

    def _answer_of(self, worker: str, future: Any) -> str | None:
        """The arithmetic of a worker, None where it was lost meanwhile."""
        end = time.monotonic() + PATIENCE
        while not future.done():
            if worker not in self._client.nthreads():
                future.cancel()
                return None
            if time.monotonic() > end:
                raise WorkError(f"{worker}: the worker does not answer")
            time.sleep(0.05)
        if future.status == "error":
            error = future.exception(timeout=cluster_address.ANSWER_TIME)
            raise WorkError(
                f"{worker}: the worker cannot run photodrome ({_line(error)}); install the same version there"
            )
        letter, content = self._said(future, _MOST_WHO)
        try:
            told = json.loads(content)
            rounding, refusal = told["arithmetic"], told["refusal"]
        except (ValueError, LookupError, TypeError, RecursionError):
            rounding = refusal = None
        if letter != WHO or not isinstance(rounding, str) or not isinstance(refusal, str):
            raise WorkError(f"{worker}: says what no worker of photodrome says")
        if refusal:
            raise WorkError(f"{worker}: {refusal[:_MOST_TEXT]}")
        return rounding


def _text(content: bytes) -> str:
    return content.decode(errors="replace")[:_MOST_TEXT]


def _line(error: object) -> str:
    """An error in one line."""
    name = "" if type(error) is Foreign else f"{type(error).__name__}: "
    return " ".join(f"{name}{error}".split())[:_MOST_TEXT]


def _silence() -> None:
    """Keep Dask from telling by tracebacks what is told here, as every lost connection."""
    for name in ("distributed", "tornado", "asyncio", *logging.root.manager.loggerDict):
        if name.partition(".")[0] in ("distributed", "tornado", "asyncio"):
            logging.getLogger(name).setLevel(logging.CRITICAL + 1)


def _client_at(address: Address, tls: Tls, distributed: Any) -> Any:
    """A client of the scheduler at an address. Raises WorkError where none answers in time."""
    found: queue.SimpleQueue[Any] = queue.SimpleQueue()

    def reach() -> None:
        try:
            client = distributed.Client(
                address.text,
                timeout=cluster_address.ANSWER_TIME,
                set_as_default=False,
                security=security(tls, distributed),
                # plain values and bytes; the other families of Dask unpickle
                deserializers=["msgpack", "error"],
            )
        except Exception as error:  # of a class of its own for every sort of transport
            found.put(error)
        else:
            found.put(client)

    # its own limit of time ends once a connection stands, whoever may be at the other end
    threading.Thread(target=reach, daemon=True).start()
    try:
        client = found.get(timeout=cluster_address.ANSWER_TIME + LOOK_EVERY)
    except queue.Empty:
        raise WorkError(f"{address.text}: something listens there, but not a Dask scheduler") from None
    if isinstance(client, Exception):
        raise WorkError(f"{address.text}: no Dask scheduler answers there ({_line(client)})") from client
    return client
