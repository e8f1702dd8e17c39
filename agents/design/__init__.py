"""A design: what its file says, how its values are changed, and what built copies of it come to.

:mod:`~agents.design.spec` is what other rooms read designs with, :mod:`~agents.design.as_built` the only
way from a design to the record of a walker. Nothing here runs a circuit.
"""
