"""The command line: its commands, their options, and what they print.

Nobody imports from here, but for the entry point. Only this room prints, and only it exits.
"""
