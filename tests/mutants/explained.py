"""What goes unnoticed with good reason."""

from tests.mutants.explained_physics import PHYSICS
from tests.mutants.explained_statistics import STATISTICS

EXPLAINED = {
    (module, line)
    for module, reasons in {**PHYSICS, **STATISTICS}.items()
    for lines in reasons.values()
    for line in lines
}
"""Module and changed line of each."""
