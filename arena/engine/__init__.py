"""The event loop of a world and its kernels: light, shadow, contact, whiskers, motion, output.

:mod:`~arena.engine.assembly` and :mod:`~arena.engine.batch` are the way in; light and shadow serve maps
too. Nothing here reads text or raises from within a kernel: codes come out, and the caller raises.
"""
