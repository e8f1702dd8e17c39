"""The drawer: the user's own parts, with count, price, printed code and what a meter read of them.

:mod:`~agents.drawer.contents` reads ``configs/parts/*.yaml`` and files like it, :mod:`~agents.drawer.stock`
says which values a place of a design may take from it and for how many pieces it lasts, and
:mod:`~agents.drawer.pairing` which pieces belong together. Nothing here runs a circuit.
"""
