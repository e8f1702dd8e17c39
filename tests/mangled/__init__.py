"""Files that nobody wrote on purpose: told in a moment and in little memory, or as good as any.

``python -m tests.mangled.replays`` mangles 2,000 replays, ``python -m tests.mangled.journals`` 500 journals;
a small share of them runs with all tests.
"""
