"""Running trials: chunks of many worlds, the journal that keeps them, a cluster, and tables of all.

Other rooms import :mod:`~arena.studies.running.sweeping` and :mod:`~arena.studies.running.trials`. Nothing
here judges what comes out.
"""
