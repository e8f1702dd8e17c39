"""The workbench, a window in which parts and places are tried by hand.

The command line imports :mod:`~arena.workbench.window`. State and controller draw nothing; the views change
nothing.
"""
