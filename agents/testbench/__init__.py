"""The bench: one design under given light, what it does, which faults it has, why, and what cures them.

Other rooms import :mod:`~agents.testbench.bench_figures`, :mod:`~agents.testbench.diagnosis` and
:mod:`~agents.testbench.surveys`; what lies below serves these. Nothing here knows of arenas, and nothing
prints.
"""
