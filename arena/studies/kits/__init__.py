"""How many kits of a design will work, why the others do not, and which parts to pair.

The command line imports :mod:`~arena.studies.kits.kit_yield` and :mod:`~arena.studies.kits.eye_picking`. No
arena is needed here: copies are measured on the bench.
"""
