"""Files of the first program that wrote such: what can be read still is, the rest is refused by name.

The folder ``first`` holds a design, an arena and a plan as they were first written, and what the first
program that kept a journal left of that plan: its journal and a table. A replay of version 1 lies beside the
tests of replays (``tests/replays/format/version_1.npz``).
"""
