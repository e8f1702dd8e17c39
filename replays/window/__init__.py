"""The window on a replay, and the parts from which any window of the program is made.

The workbench imports the loop, the parts and the table of keys. Nothing else of the program does: whoever
only scores or draws a replay needs no window.
"""
