"""Why each walker fared as it did in a race: a true account in three sentences, and what gains most.

Other rooms import :mod:`~arena.accounts.telling` and :mod:`~arena.accounts.line_up`. Nothing here draws or
prints.
"""
