"""Pictures and films of a replay: colours, letters, the arena from above, and all that stands round it.

Windows, the workbench and the plots of studies draw with what is here. Nothing here opens a window, and
nothing reads keys or a clock.
"""
