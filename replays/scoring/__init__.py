"""Figures from a replay alone: what each walker did, and what that comes to for a design.

Other rooms import :mod:`~replays.scoring.scores`, the measures, and the statistics that stand beside them.
Nothing here draws, and nothing needs more than the file.
"""
