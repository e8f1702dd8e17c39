"""Reports: pages of HTML that a browser shows and a printer prints, each in one file that needs no network.

The command line imports the module of the page that it is asked for, and :mod:`~arena.reports.bench_words`
for what a terminal says in the same words. Nothing here prints, and nothing here runs or measures more than
its own curves need.
"""
