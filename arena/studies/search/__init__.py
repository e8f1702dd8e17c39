"""The search for the best setting within a budget of trials.

The command line imports :mod:`~arena.studies.search.tuning`; the rest serves it.
"""
