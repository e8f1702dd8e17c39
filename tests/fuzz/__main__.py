"""Try broken files by the thousand: ``python -m tests.fuzz [COUNT] [--seed 1] [--only check] [--keep DIR]``.

A case that takes longer than its time, or after which the process holds more memory than it should, is
told like a traceback. What was found is kept, a file for each case.
"""

from tests.fuzz.trying import main

if __name__ == "__main__":
    main(__doc__)
