"""Parts of a build learnt from what a meter, a clock and a protractor read of it.

:mod:`~agents.fitting.readings` reads the table of readings, :mod:`~agents.fitting.unknowns` says what may be
learnt and how far each part may lie from its value before anything is read, and :mod:`~agents.fitting.fit`
brings the two together. The circuit is that of the bench.
"""
