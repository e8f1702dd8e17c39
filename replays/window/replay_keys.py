"""All keys of the window on a replay."""

from replays.window.key_meanings import line
from replays.window.key_tables import HelpLine, KeyTable

REPLAY_KEYS = KeyTable(
    line("play, pause", "play", group="Time"),
    line("stop at the next pulse", "next pulse", group="Time"),
    line("back to the previous pulse", "previous pulse", group="Time"),
    line("a hundredth of the run back", "back", group="Time"),
    line("a hundredth of the run on", "on", group="Time"),
    line("to the start", "start", group="Time"),
    line("to the end", "end", group="Time"),
    line("faster", "faster", group="Time"),
    line("slower", "slower", group="Time"),
    line("skip the waits between pulses", "skip", group="Time"),
    line("choose the next walker", "next walker", group="Walker"),
    line("choose the previous walker", "previous walker", group="Walker"),
    line("show or hide the causes", "why", group="Walker"),
    line("compare it with others: 1, 2, 3, none", "beside", group="Walker"),
    line("go along with the walker", "follow", group="Walker"),
    line("ways of all, of the chosen, none", "ways", group="Walker"),
    line("lanes of walkers, of designs, none", "lead", group="View"),
    line("show or hide the legend", "legend", group="View"),
    line("come closer", "closer", group="View"),
    line("go farther away", "away", group="View"),
    line("see the whole floor", "all", group="View"),
    line("arrows for time, or for the floor", "change mode", group="View"),
    line("look beside, after tab", "west", "east", "north", "south", group="View", shown="arrows"),
    line("light or dark paper", "theme", group="Window"),
    line("larger letters and lines", "larger", group="Window"),
    line("show or hide more buttons", "more", group="Window"),
    line("full screen", "full screen", group="Window"),
    line("read a file that has changed", "load changed", group="Window"),
    line("keep what is shown", "keep own", group="Window"),
    line("show or hide the keys", "help", group="Window"),
    line("leave this, then the window", "leave", group="Window"),
    line("close the window", "close", group="Window"),
    HelpLine("choose a walker, or none", group="Mouse", shown="click"),
    HelpLine("move the floor, come closer", group="Mouse", shown="drag, wheel"),
    HelpLine("go to that time", group="Mouse", shown="bar, strip"),
)
"""What each key asks for, by the actions of :class:`~replays.window.replay_window.ReplayWindow`."""
