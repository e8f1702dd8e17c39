"""Why each walker fared as it did, as sentences on the terminal."""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from rich.padding import Padding
from rich.text import Text

from arena.accounts.telling import Account
from arena.cli.printed_tables import the_console
from arena.cli.terminal import printable

if TYPE_CHECKING:
    from arena.races.results import RaceResults
    from arena.reports.race_runs import ShownRun


def print_accounts(accounts: Sequence[Account], walkers: int) -> None:
    """The account of every walker, of ``walkers`` that ran, in the order of their places."""
    for one in sorted(accounts, key=lambda account: (account.outcome.place, account.walker)):
        _print_one(one, one.name)
    if len(accounts) < walkers:
        told = f"accounts of {len(accounts)} of {walkers} walkers, the first copies of each design"
        the_console().print(told)


def print_why(results: "RaceResults", runs: "Mapping[int, ShownRun]") -> None:
    """The accounts of a race in the order of its ranking, each with the round that it is about."""
    where = {
        entry: f"round {run.round.number}"
        + (f", {results.courses[run.course].arena}" if len(results.courses) > 1 else "")
        for entry, run in runs.items()
    }
    for entry in (one.entry for one in results.placings):
        run = runs.get(entry)
        if run is not None and run.account is not None:
            _print_one(run.account, f"{run.account.name} ({where[entry]})")
        else:
            the_console().print(f"{printable(results.entries[entry].name)}: no account, for it did not run")


def _print_one(account: Account, heading: str) -> None:
    console = the_console()
    console.print(Text(printable(heading), style="bold"))
    for sentence in account.sentences:
        console.print(Padding(Text(printable(sentence)), (0, 0, 0, 2)))
