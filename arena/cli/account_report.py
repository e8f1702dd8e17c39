"""Why each walker fared as it did, as sentences on the terminal."""

from collections.abc import Sequence

from rich.padding import Padding
from rich.text import Text

from arena.accounts.telling import Account
from arena.cli.printed_tables import the_console
from arena.cli.terminal import printable


def print_accounts(accounts: Sequence[Account], walkers: int) -> None:
    """The account of every walker, of ``walkers`` that ran, in the order of their places."""
    console = the_console()
    for one in sorted(accounts, key=lambda account: (account.outcome.place, account.walker)):
        console.print(Text(printable(one.name), style="bold"))
        for sentence in one.sentences:
            console.print(Padding(Text(printable(sentence)), (0, 0, 0, 2)))
    if len(accounts) < walkers:
        console.print(f"accounts of {len(accounts)} of {walkers} walkers, the first copies of each design")
