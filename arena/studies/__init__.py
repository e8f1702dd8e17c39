"""Experiments: plans of many trials, what they came to with its intervals, and kits of many copies.

The command line imports from the rooms in here; they build on the simulation and know nothing of who
prints.
"""
