"""A sweep: all trials of a study, on all cores or on a cluster, journaled as they finish."""

import contextlib
import os
import time
from collections.abc import Generator, Mapping, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ThreadPoolExecutor, wait
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from agents.arrays import RecordArray
from agents.errors import OutputError
from arena.simulation import Progress
from arena.studies.plans.study import Study
from arena.studies.running.cluster_address import Tls
from arena.studies.running.journal import Journal
from arena.studies.running.result_names import CSV, NPZ, TABLES, picture_names
from arena.studies.running.results import write_csv, write_npz
from arena.studies.running.results_folder import publish, remove_own, tidy
from arena.studies.running.rounding import arithmetic
from arena.studies.running.trials import chunk_size, reason_of, run_chunk
from replays.format.whole_files import make_folder

Rows = Generator[tuple[int, RecordArray], None, None]


@dataclass(frozen=True)
class SweepResult:
    """A sweep that is through.

    ``kept`` trials stood in the journal before; the others took ``seconds`` [s] of wall time. ``impossible``
    says why settings, by their number, could not be run in part or in whole. ``parts`` are the digests of
    what decided the results, by name.
    """

    study: Study
    folder: Path
    kept: int
    seconds: float
    impossible: dict[int, str]
    parts: Mapping[str, str]

    def journal(self) -> Journal:
        """The journal, opened once more, so that more files can be published beside it."""
        return Journal(self.folder, self.parts, self.study.trials, chunk_size(self.study))

    @property
    def csv(self) -> Path:
        """The table of trials as CSV."""
        return self.folder / CSV

    @property
    def npz(self) -> Path:
        """The table of trials as a file of numpy."""
        return self.folder / NPZ

    def columns(self, names: Sequence[str]) -> dict[str, npt.NDArray[Any]]:
        """Columns of the table by their names, each (settings, repeats)."""
        shape = self.study.settings, self.study.repeats
        with np.load(self.npz) as table:
            return {name: table[name].reshape(shape) for name in names}


def run_sweep(
    study: Study,
    folder: str | Path,
    threads: int | None = None,
    on: str | None = None,
    restart: bool = False,
    progress: Progress | None = None,
    pictures: bool = True,
    tls: Tls | None = None,
) -> SweepResult:
    """Run the trials of a study that the journal in ``folder`` lacks, and write the tables of all.

    ``threads`` is the number of cores to be used here, all by default; ``on`` the address of the scheduler of
    a Dask cluster that is to do the work instead, with its certificates ``tls``. ``restart`` throws away what
    the journal holds. ``progress`` is called with the share of the trials that are there, 0 to 1; whatever it
    raises stops the sweep, as does KeyboardInterrupt, and the trials of every finished chunk are kept.
    ``pictures`` says whether pictures are going to be drawn, so that their names have to be free.

    Raises InputError where the journal is another study's or damaged, or the folder holds files that are not
    ours and no journal, or under the names of ours; nothing has been changed then. Raises WorkError where
    another run is at work in the folder or the cluster fails, OutputError where something cannot be written.

    >>> from pathlib import Path
    >>> plan = Path("latches.yaml")
    >>> _ = plan.write_text('''photodrome: study 1
    ... name: latches
    ... arenas: [open-bench]
    ... designs: [poppy]
    ... vary:
    ...   design.both.latch: 1k, 10k
    ... repeats: 3
    ... lasts: 4 min
    ... scores: [pulses]
    ... ''')
    >>> found = run_sweep(read_study(plan), "latches.sweep")
    >>> found.columns(["pulses"])["pulses"].shape  # settings, repeats
    (2, 3)
    """
    folder = Path(folder)
    begun = time.monotonic()
    make_folder(folder)
    with contextlib.ExitStack() as stack:
        cluster = None
        if on is not None:
            # it takes long to import
            from arena.studies.running.cluster import Cluster

            cluster = stack.enter_context(Cluster(study, on, tls))
        rounding = arithmetic() if cluster is None else cluster.arithmetic
        parts = study.parts | {"arithmetic of processor and libraries": rounding}
        all_pictures = picture_names(study)
        names = [*TABLES, *(all_pictures if pictures else ())]
        journal = Journal(folder, parts, study.trials, chunk_size(study), restart, names)
        stack.enter_context(journal)
        kept, missing = journal.kept, journal.missing().tolist()
        tidy(folder, {*TABLES, *all_pictures, *journal.claimed()})
        if missing:
            # they are about to be no longer true
            remove_own(folder, TABLES, journal)
        told = set(journal.impossible())
        if cluster is None:
            work = _here(study, missing, threads or os.cpu_count() or 1)
        else:
            work = cluster.run_chunks(missing)
        # whatever goes wrong, others are to stop before the journal is closed
        stack.enter_context(contextlib.closing(work))
        for number, rows in work:
            journal.keep(number, rows, _reasons(study, rows, told))
            if progress is not None:
                progress(journal.kept / study.trials)
        seconds = time.monotonic() - begun
        # before any table is made of it
        journal.check_complete()
        try:
            with publish(folder, journal) as stage:
                write_csv(stage / CSV, study, journal.chunks)
                write_npz(stage / NPZ, study, journal.chunks)
        except OutputError as error:
            raise OutputError(f"{error}; all trials are kept, and the same command writes it anew") from error
        return SweepResult(study, folder, kept, seconds, journal.impossible(), parts)


def _reasons(study: Study, rows: RecordArray, told: set[int]) -> dict[int, str]:
    """Why settings are impossible that nobody was told of so far."""
    reasons: dict[int, str] = {}
    for trial in rows["trial"][rows["impossible"] == 1.0].tolist():
        setting = trial // study.repeats
        if setting not in told:
            told.add(setting)
            reasons[setting] = reason_of(study, trial)
    return reasons


def _here(study: Study, missing: Sequence[int], threads: int) -> Rows:
    """The rows of chunks as they finish on threads of this process, each with its number."""
    if not missing:
        return
    # where there are fewer chunks than threads, several of them share one
    share = max(1, threads // len(missing))
    stop = np.zeros(1, np.int64)
    numbers = iter(missing)
    with ThreadPoolExecutor(min(threads, len(missing))) as pool:
        at_work: dict[Future[RecordArray], int] = {}

        def begin(count: int) -> None:
            for number in islice(numbers, count):
                at_work[pool.submit(run_chunk, study, number, share, stop)] = number

        try:
            # few of them in advance, so that a sweep of millions of trials takes no more memory
            begin(2 * threads)
            while at_work:
                for future in wait(at_work, return_when=FIRST_COMPLETED).done:
                    number = at_work.pop(future)
                    yield number, future.result()
                    begin(1)
        finally:
            # whatever went wrong, nobody is to wait for the other trials
            stop[0] = 1
            for future in at_work:
                future.cancel()
