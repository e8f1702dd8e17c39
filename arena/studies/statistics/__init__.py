"""What can be told from trials: intervals, paired comparisons, margins, and which factor mattered.

Every module may be imported by the rooms above. Nothing here knows of plans, files or pictures.
"""
