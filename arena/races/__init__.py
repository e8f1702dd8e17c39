"""Races between designs: who enters, on which course, round by round, and a ranking with how sure it is.

:mod:`~arena.races.results` holds what a race leaves behind; rooms that tell of a race import it and
:mod:`~arena.races.race_folder`, which reads it from its folder. :mod:`~arena.races.racing` runs one.
"""
