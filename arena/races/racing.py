"""Running a race round by round, and keeping each as it is finished."""

import hashlib
import json
import os
import time
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import CancelledError, ThreadPoolExecutor
from dataclasses import replace
from importlib.metadata import version
from pathlib import Path
from typing import Any

from arena.races.heat_running import HeatRun, HeatTerms, run_heat
from arena.races.race_folder import (
    WHY,
    RaceFolder,
    replay_name,
    results_of,
    round_name,
    round_text,
    write_tables,
)
from arena.races.race_form import PAIRS
from arena.races.race_setup import RaceSetup, phase_of
from arena.races.results import Heat, RaceResults, Round
from arena.races.standings import placings_of
from arena.studies.plans.study import sources_digest
from arena.studies.running.rounding import arithmetic
from replays.format.replay_file import write_replay

Told = Callable[[float, str], None]
"""Called with the share that is done, 0 to 1, and which round is under way."""

NO_REPLAYS, LAST_REPLAYS, ALL_REPLAYS = "none", "last", "all"
# The share of a race that is run to find out how long the whole takes.
_SAMPLE = 0.1


def race_all(
    setup: RaceSetup,
    folder: str | Path,
    threads: int | None = None,
    restart: bool = False,
    told: Told | None = None,
    replays: str = LAST_REPLAYS,
) -> RaceResults:
    """Run the rounds that the folder lacks, and write standings, all rounds, and replays.

    The same bytes for any number of ``threads``, and whatever stops it in between. ``replays`` says of which
    rounds they are kept. Raises InputError where the folder holds another race or what is not ours,
    OutputError where something cannot be written.
    """
    workers = threads or os.cpu_count() or 1
    home = RaceFolder(Path(folder), setup, deciding_parts(setup), restart)
    whole = setup.rounds + setup.final_rounds
    rounds = home.kept(whole)
    for number in range(len(rounds), whole):
        phase, heats = setup.round_terms(number, rounds)

        def tell(share: float, number: int = number) -> None:
            if told is not None:
                told((number + share) / whole, phase_of(setup, number))

        tell(0.0)
        runs = _run_round([terms for _, terms in heats], workers, replays == ALL_REPLAYS, tell)
        made = tuple(Heat(course, run.finishes) for (course, _), run in zip(heats, runs, strict=True))
        one = Round(number + 1, phase, number, made)
        with home.putting() as stage:
            (stage / round_name(number)).write_bytes(round_text(one))
            for heat, run in enumerate(runs):
                _write_replays(stage, number, heat, len(heats), run)
        rounds.append(one)
        home.remove_accounts()
    _settle_replays(setup, home, rounds, replays, workers)
    results = results_of(setup, home.folder, rounds, home.claimed())
    with home.putting() as stage:
        write_tables(results, stage)
    return results


def keep_accounts(setup: RaceSetup, folder: Path, tries: int, accounts: Sequence[Mapping[str, Any]]) -> None:
    """Write why each came out so beside the standings, with how many changes were tried at the most.

    Raises as :func:`race_all` does.
    """
    home = RaceFolder(folder, setup, deciding_parts(setup), False)
    text = json.dumps({"tries": tries, "accounts": list(accounts)}, indent=1, ensure_ascii=False)
    with home.putting() as stage:
        (stage / WHY).write_bytes(text.encode())


def _wanted(setup: RaceSetup, rounds: list[Round], replays: str) -> dict[int, list[int]]:
    """The heats of which replays are kept, by round, both from 0.

    Of the last round of many pairs that is the one in which the first met the second.
    """
    if replays == NO_REPLAYS:
        return {}
    numbers = range(len(rounds)) if replays == ALL_REPLAYS else [len(rounds) - 1]
    if setup.terms.format != PAIRS or replays == ALL_REPLAYS:
        return {number: list(range(len(rounds[number].heats))) for number in numbers}
    terms = setup.terms
    placings, _ = placings_of(setup.entries, rounds, terms.format, terms.points, terms.finalists)
    best = {one.entry for one in placings[:2]}
    heats = rounds[-1].heats
    met = [number for number, heat in enumerate(heats) if best == {one.entry for one in heat.finishes}]
    return {len(rounds) - 1: met}


def _settle_replays(
    setup: RaceSetup, home: RaceFolder, rounds: list[Round], replays: str, threads: int
) -> None:
    """Make replays that are wanted and not there, by running their heats anew, and remove those unwanted."""
    wanted = _wanted(setup, rounds, replays)
    stages = {number: len(one.dims) for number, one in enumerate(setup.terms.courses)}

    def names_of(number: int, heat: int) -> list[str]:
        count = stages[rounds[number].heats[heat].course]
        return [replay_name(number, heat, len(rounds[number].heats), stage, count) for stage in range(count)]

    home.remove_replays(
        {name for number in wanted for heat in wanted[number] for name in names_of(number, heat)}
    )
    for number, heats in wanted.items():
        lacking = [heat for heat in heats if not all(home.has(name) for name in names_of(number, heat))]
        if not lacking:
            continue
        _, drawn = setup.round_terms(number, rounds)
        runs = _run_round([drawn[heat][1] for heat in lacking], threads, True, lambda _done: None)
        with home.putting() as stage:
            for heat, run in zip(lacking, runs, strict=True):
                _write_replays(stage, number, heat, len(drawn), run)


def _write_replays(folder: Path, number: int, heat: int, heats: int, run: HeatRun) -> None:
    for step, replay in enumerate(run.replays):
        write_replay(replay, folder / replay_name(number, heat, heats, step, len(run.replays)))


def _run_round(
    heats: Sequence[HeatTerms], threads: int, keep: bool, tell: Callable[[float], None]
) -> list[HeatRun]:
    """Run the heats of a round side by side."""
    if len(heats) == 1:
        return [run_heat(heats[0], threads, keep, tell)]
    share = 1 if len(heats) >= threads else max(1, threads // len(heats))
    done = 0
    is_stopped = False

    def look(_share: float) -> None:
        if is_stopped:
            raise CancelledError

    with ThreadPoolExecutor(min(threads, len(heats))) as pool:
        futures = [pool.submit(run_heat, one, share, keep, look) for one in heats]
        runs = []
        try:
            for future in futures:
                runs.append(future.result())
                done += 1
                tell(done / len(heats))
        except BaseException:
            is_stopped = True
            for future in futures:
                future.cancel()
            raise
    return runs


def deciding_parts(setup: RaceSetup) -> dict[str, str]:
    """Digests of what decides the results, by what it is: each entry, the terms, the program."""
    terms = replace(setup.terms, rounds=None, final_rounds=None, name="", about="").as_dict()
    parts = {f"the entry {one.file}": _digest(f"{one.name}\n{one.text}") for one in setup.entries}
    parts["the plan or an arena"] = _digest(json.dumps(terms, sort_keys=True))
    rules = json.dumps([[one.file, list(one.broken_rules)] for one in setup.entries if one.broken_rules])
    parts["who races out of competition"] = _digest(rules)
    parts["the program"] = _digest(f"{version('photodrome')} {sources_digest()}")
    parts["the arithmetic of processor and libraries"] = arithmetic()
    return parts


def expected_time(setup: RaceSetup, threads: int | None = None) -> float:
    """How long the whole race is going to take here [s], measured on the beginning of its first round."""
    workers = threads or os.cpu_count() or 1
    _, heats = setup.round_terms(0, [])
    few = [terms for _, terms in heats[: 2 * workers]]
    # what has to be compiled or read is in this alone
    _timed(few, workers, 0.1 * _SAMPLE)
    round_time = _timed(few, workers, _SAMPLE) / _SAMPLE * len(heats) / len(few)
    return round_time * (setup.rounds + setup.final_rounds)


def _timed(heats: Sequence[HeatTerms], threads: int, share: float) -> float:
    short = [
        replace(terms, course=replace(terms.course, seconds=share * terms.course.seconds)) for terms in heats
    ]
    begun = time.monotonic()
    _run_round(short, threads, False, lambda _done: None)
    return time.monotonic() - begun


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()
