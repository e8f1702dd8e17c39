"""A plan's file, its faults, and the study that it comes to: values by path, ranged, drawn, written back.

The other rooms of studies start from :mod:`~arena.studies.plans.study`. Nothing here runs a trial.
"""
