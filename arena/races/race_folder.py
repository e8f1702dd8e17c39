"""The folder of a race: its terms and entries, a file for each round that is finished, standings, replays.

``race.json`` says what the race is and which files beside it are ours. A round is written when it is through,
whole, so whatever ends the program the same command goes on after it, and ends with the same bytes.
"""

import hashlib
import json
from collections.abc import Collection, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

from agents.design.spec import parse_design
from agents.errors import InputError, NotFoundError, SpecError
from agents.text.table_cells import table_line
from arena.races.race_form import FORMATS
from arena.races.race_setup import MeetTerms, RaceSetup, ready
from arena.races.results import Entry, KeptReplay, RaceResults, Round, Scratching
from arena.races.standings import placings_of
from arena.studies.running.results_folder import (
    check_empty,
    check_own,
    check_single,
    publish,
    remove_own,
    tidy,
)
from replays.format.whole_files import make_folder, write_whole

INDEX = "race.json"
STANDINGS_CSV, STANDINGS_JSON, ROUNDS_CSV = "standings.csv", "standings.json", "rounds.csv"
REPLAY = ".replay.npz"
WHY = "why.json"
"""The accounts of why each came out so, as they were worked out last."""
TABLES = (STANDINGS_CSV, STANDINGS_JSON, ROUNDS_CSV)
_FORM = "race 1"
_ANEW = "run with --restart to begin anew, or choose another folder with --out"


class RaceFolder:
    """The folder of a race, to be written to.

    It knows the digests that files in it may have if they are ours (see
    :mod:`arena.studies.running.results_folder`).
    """

    def __init__(self, folder: Path, setup: RaceSetup, parts: Mapping[str, str], restart: bool) -> None:
        """Open the folder of this very race, or begin one.

        ``parts`` are digests of what decides the results. Raises InputError where the folder holds another
        race, or things that are not ours; nothing has been changed then.
        """
        self.folder = folder
        self.path = folder / INDEX
        self._claimed: dict[str, set[str]] = {}
        make_folder(folder)
        check_single(self.path)
        names = [round_name(one) for one in range(setup.rounds + setup.final_rounds)]
        if self.path.is_file():
            found = _index(self.path)
            self._claimed = {name: set(digests) for name, digests in found["files"].items()}
            changed = [] if restart else _changes(found, parts, setup)
            if changed:
                raise InputError(f"{folder}: holds another race, for {', '.join(changed)}; {_ANEW}")
        else:
            check_empty(folder)
        check_own(folder, [*TABLES, WHY, *names], self._claimed)
        tidy(folder, [INDEX, *self._claimed])
        self._index = {
            "photodrome": _FORM,
            "parts": dict(parts),
            "terms": setup.terms.as_dict(),
            "rounds": setup.rounds,
            "final_rounds": setup.final_rounds,
            "entries": [{**one.as_dict(), "text": one.text} for one in setup.entries],
            "scratched": [one.as_dict() for one in setup.scratched],
            "same_walker": [list(one) for one in setup.twins],
        }
        if restart:
            remove_own(folder, list(self._claimed), self)
            self._claimed = {}
        self._write_index()

    def claimed(self) -> Mapping[str, Collection[str]]:
        """The digests that files may have, by name."""
        return self._claimed

    def claim(self, digests: Mapping[str, str]) -> None:
        """Write down that files with these names and digests are about to be put there."""
        for name, digest in digests.items():
            self._claimed.setdefault(name, set()).add(digest)
        self._write_index()

    def settle(self, digests: Mapping[str, str]) -> None:
        """Write down that these names have no other digests any more."""
        self._claimed.update((name, {digest}) for name, digest in digests.items())
        self._write_index()

    def _write_index(self) -> None:
        files = {name: sorted(digests) for name, digests in sorted(self._claimed.items())}
        text = json.dumps({**self._index, "files": files}, indent=1, ensure_ascii=False)
        write_whole(self.path, text.encode())

    def kept(self, most: int) -> list[Round]:
        """The rounds that are there, from the first on without a gap, ``most`` at the most."""
        return rounds_in(self.folder, self._claimed, most)

    def has(self, name: str) -> bool:
        """Whether a file of ours is there."""
        return name in self._claimed and (self.folder / name).is_file()

    def remove_replays(self, but: Collection[str]) -> None:
        """Remove the replays of ours that are not among the names ``but``."""
        self._remove([name for name in self._claimed if name.endswith(REPLAY) and name not in but])

    def remove_accounts(self) -> None:
        """Remove the accounts of a race that has gone on since."""
        self._remove([name for name in self._claimed if name == WHY])

    def _remove(self, gone: list[str]) -> None:
        remove_own(self.folder, gone, self)
        for name in gone:
            del self._claimed[name]
        if gone:
            self._write_index()

    @contextmanager
    def putting(self) -> Iterator[Path]:
        """Give a folder to write files to, and move them to their places when all are there."""
        with publish(self.folder, self) as stage:
            yield stage


def round_name(number: int) -> str:
    """The name of the file of round ``number``, from 0."""
    return f"round-{number + 1:03d}.json"


def round_text(one: Round) -> bytes:
    """The file of a round."""
    return json.dumps(one.as_dict(), indent=1, allow_nan=False).encode()


def rounds_in(folder: Path, claimed: Mapping[str, Collection[str]], most: int) -> list[Round]:
    """The rounds in a folder, from the first on without a gap. Raises InputError where one is damaged."""
    rounds: list[Round] = []
    for number in range(most):
        path = folder / round_name(number)
        if not path.is_file():
            break
        content = path.read_bytes()
        try:
            if hashlib.sha256(content).hexdigest() not in claimed.get(path.name, ()):
                raise ValueError("it has been changed")
            rounds.append(Round.from_dict(json.loads(content)))
        except (ValueError, KeyError, TypeError) as error:
            raise InputError(f"{path}: is damaged ({error}); {_ANEW}") from None
    return rounds


def _index(path: Path) -> dict[str, Any]:
    try:
        found = json.loads(path.read_text(encoding="utf-8"))
        if not isinstance(found, dict) or found.get("photodrome") != _FORM:
            raise ValueError("it is none of this program")
        if not {"parts", "terms", "entries", "files", "rounds"} <= set(found):
            raise ValueError("something is missing")
    except (OSError, ValueError) as error:
        raise InputError(f"{path}: cannot be read as the race of a folder ({error}); {_ANEW}") from None
    return found


def _changes(found: dict[str, Any], parts: Mapping[str, str], setup: RaceSetup) -> list[str]:
    """What differs between the race in the folder and this one, in words."""
    changed = []
    before, now = found["parts"], dict(parts)
    for key in {**before, **now}:
        if key not in before:
            changed.append(f"{key} is new")
        elif key not in now:
            changed.append(f"{key} is gone")
        elif before[key] != now[key]:
            changed.append(f"{key} has changed")
    is_final = setup.final_rounds > 0
    if is_final and (found["rounds"], found["final_rounds"]) != (setup.rounds, setup.final_rounds):
        changed.append("the number of rounds before a final has changed")
    return changed


def read_results(folder: str | Path) -> RaceResults:
    """Read the race in a folder, as far as it has been run, without running anything.

    Raises NotFoundError where there is none, InputError where it is damaged.
    """
    return read_race_folder(folder)[1]


def read_race_folder(folder: str | Path) -> tuple[RaceSetup, RaceResults]:
    """As :func:`read_results`, with the setup, from which any race of it can be run anew.

    That of heat h of round r, both from 0, is ``setup.round_terms(r, results.rounds)[1][h][1]``, for
    :func:`arena.races.heat_running.run_heat`; :func:`arena.races.heat_running.with_entry` puts another walker
    in the place of one.
    """
    folder = Path(folder)
    path = folder / INDEX
    if not path.is_file():
        raise NotFoundError(f"{folder}: holds no race; run photodrome race with --out {folder}")
    found = _index(path)
    try:
        terms = MeetTerms.from_dict(found["terms"])
        entries = tuple(_entry(one) for one in found["entries"])
        scratched = tuple(Scratching(one["file"], tuple(one["reasons"])) for one in found["scratched"])
        twins = tuple(tuple(one) for one in found["same_walker"])
        setup = ready(
            replace(terms, rounds=found["rounds"], final_rounds=found["final_rounds"] or None),
            entries,
            scratched,
            (),
            twins,
        )
    except (KeyError, TypeError, ValueError, SpecError) as error:
        raise InputError(f"{path}: is damaged ({error}); {_ANEW}") from None
    if terms.format not in FORMATS:
        raise InputError(f"{path}: is damaged (format {terms.format!r}); {_ANEW}")
    rounds = rounds_in(folder, found["files"], setup.rounds + setup.final_rounds)
    return setup, results_of(setup, folder, rounds, found["files"])


def _entry(one: dict[str, Any]) -> Entry:
    design = parse_design(one["text"], one["file"]).model_copy(update={"name": one["name"]})
    return Entry(
        one["number"],
        one["file"],
        one["name"],
        one["team"],
        design,
        one["text"],
        tuple(one["broken_rules"]),
    )


def results_of(
    setup: RaceSetup, folder: Path, rounds: list[Round], files: Mapping[str, Collection[str]]
) -> RaceResults:
    """The results of the ``rounds`` that have been run; ``files`` names those in the folder."""
    terms = setup.terms
    placings, more = placings_of(setup.entries, rounds, terms.format, terms.points, terms.finalists)
    replays = []
    for name in sorted(files):
        if name.endswith(REPLAY):
            _, number, *rest = name.removesuffix(REPLAY).split("-")
            told = dict(zip(rest[::2], rest[1::2], strict=True))
            heat, stage = int(told.get("heat", 1)), int(told.get("stage", 1))
            replays.append(KeptReplay(folder / name, int(number), heat - 1, stage - 1))
    return RaceResults(
        terms.name,
        terms.about,
        terms.format,
        terms.seed,
        tuple(one.words for one in terms.courses),
        setup.entries,
        setup.scratched,
        setup.twins,
        tuple(rounds),
        placings,
        more,
        setup.turn,
        folder,
        tuple(replays),
    )


def replay_name(number: int, heat: int, heats: int, stage: int, stages: int) -> str:
    """The name of a replay: of round, heat and stage, all from 0; what there is one of is not told."""
    name = f"round-{number + 1:03d}"
    if heats > 1:
        name += f"-heat-{heat + 1}"
    if stages > 1:
        name += f"-stage-{stage + 1}"
    return f"{name}{REPLAY}"


def write_tables(results: RaceResults, stage: Path) -> None:
    """Write the standings and all rounds to a folder."""
    (stage / STANDINGS_CSV).write_bytes(_csv(_standing_rows(results)))
    (stage / ROUNDS_CSV).write_bytes(_csv(_round_rows(results)))
    text = json.dumps(results.as_dict(), indent=1, ensure_ascii=False, allow_nan=False)
    (stage / STANDINGS_JSON).write_bytes(text.encode())


def _csv(rows: list[list[Any]]) -> bytes:
    lines = "".join(table_line(row, "\r\n") for row in rows)
    # the mark by which spreadsheets know that it is UTF-8
    return lines.encode("utf-8-sig")


def _standing_rows(results: RaceResults) -> list[list[Any]]:
    head = ["place", "place from", "place to", "name", "team", "file", "beaten share", "chance to win"]
    head += ["points", "arrived", "starts", "median time [s]", "broken rules"]
    rows: list[list[Any]] = [head]
    for one in results.placings:
        entry = results.entries[one.entry]
        rows.append(
            [
                # a range would be read as a date
                one.words.replace("-", " to "),
                one.first,
                one.last,
                entry.name,
                entry.team,
                entry.file,
                round(one.beaten, 4),
                round(one.wins, 4),
                one.points,
                one.arrived,
                one.starts,
                one.median_s,
                "; ".join(entry.broken_rules),
            ]
        )
    for scratching in results.scratched:
        rows.append(
            ["scratched", None, None, "", "", scratching.file, *[None] * 6, " / ".join(scratching.reasons)]
        )
    return rows


def _round_rows(results: RaceResults) -> list[list[Any]]:
    head = ["round", "phase", "heat", "arena", "place", "name", "team", "start", "status", "time [s]"]
    head += ["progress", "mean light [lx]", "moved last [s]", "note"]
    rows: list[list[Any]] = [head]
    for one in results.rounds:
        for number, heat in enumerate(one.heats, start=1):
            for finish in heat.finishes:
                entry = results.entries[finish.entry]
                course = results.courses[heat.course]
                rows.append(
                    [
                        one.number,
                        one.phase,
                        number,
                        course.arena,
                        finish.place,
                        entry.name,
                        entry.team,
                        finish.start + 1,
                        finish.status,
                        finish.time_s,
                        round(finish.progress, 4),
                        round(finish.light_lx, 2),
                        finish.moved_s,
                        finish.note,
                    ]
                )
    return rows
