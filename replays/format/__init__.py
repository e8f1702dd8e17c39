"""The file that a run leaves behind: its tables, its header, the checks, and writing whole or not at all.

Every module may be imported from the rooms above. Nothing here knows what the columns mean for a race, nor
how they are drawn.
"""
