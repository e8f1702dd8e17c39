"""Why a walker did what it did: rail, triggers and pulses worked out from a replay, and a sentence on each.

Windows import :mod:`~replays.causes.traces` and :mod:`~replays.causes.sentences`. Nothing here draws.
"""
