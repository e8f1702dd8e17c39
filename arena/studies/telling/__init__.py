"""What a study says, in pictures, tables and sentences.

The command line and the search import plots and the summary. Nothing here decides what is shown as
significant: that comes from the statistics.
"""
