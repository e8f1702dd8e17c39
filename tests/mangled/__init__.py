"""Files that nobody wrote on purpose: told in a moment and in little memory, or as good as any.

``python -m tests.mangled.replays`` mangles 2,000 replays; a small share of them runs with all tests.
"""
