"""Broken files by the thousand: the program runs or refuses them with a word, whatever stands in them.

``python -m tests.fuzz`` tries 10,000; a few of the same are tried with the other tests.
"""
