"""The entry to the command line: what has to be there before anything else is imported."""
