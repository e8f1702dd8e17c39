"""Where the bench table of an eye is asked for what it does not tell: light beyond its first or last row.

There the eye is taken to flash as at that row. So a table that ends in the shade makes an eye that cannot
tell the sun from it, and that no light ever blinds.
"""

from collections.abc import Sequence

from agents.design.parts import Eye
from agents.design.spec import Design
from agents.design.values_by_path import SIDES
from agents.testbench.measuring import LAMP_SHARE
from agents.text.units import format_quantity

# Tape and light come as round figures, and their product with an error in its last digits.
_ROUND = 1e-9


def table_notes(design: Design, lights: Sequence[float]) -> tuple[str, ...]:
    """Tell in sentences what of ``lights`` [lx] on bare eyes lies beyond the tables of a design.

    Each light [lx] counts as the bench has it: even, or a third of it where an eye faces away from the lamp.
    Nothing is told of eyes without a table.

    >>> design = change_design(read_design("mustard"), {"both.eye.tape": "100 %"})
    >>> for note in table_notes(design, [3e3, 100e3]):
    ...     print(note)
    the table of both eyes ends at 50 klx: brighter light, here up to 100 klx, counts as that
    """
    eyes = [getattr(design, name).eye for name in SIDES]
    if eyes[0].table == eyes[1].table and eyes[0].tape == eyes[1].tape:
        return _notes_on("both eyes", eyes[0], lights)
    return tuple(
        note
        for name, eye in zip(SIDES, eyes, strict=True)
        for note in _notes_on(f"the {name} eye", eye, lights)
    )


def _notes_on(whose: str, eye: Eye, lights: Sequence[float]) -> tuple[str, ...]:
    if not eye.table or not lights:
        return ()
    tape = "" if eye.tape == 1.0 else " behind the tape"
    least, most = (1.0 - LAMP_SHARE) * eye.tape * min(lights), eye.tape * max(lights)
    first, last = eye.table[0].light, eye.table[-1].light
    notes = []
    if least < first * (1.0 - _ROUND):
        notes.append(
            f"the table of {whose} begins at {format_quantity(first, 'lx')}: dimmer light, here down to"
            f" {format_quantity(least, 'lx')}{tape}, counts as that"
        )
    if most > last * (1.0 + _ROUND):
        notes.append(
            f"the table of {whose} ends at {format_quantity(last, 'lx')}: brighter light, here up to"
            f" {format_quantity(most, 'lx')}{tape}, counts as that"
        )
    return tuple(notes)
