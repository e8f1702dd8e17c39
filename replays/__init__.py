"""What a run leaves behind: its file, its scores, its picture, and a window to watch it in.

The names below are fetched when they are first asked for, so that whoever needs one does not wait for all.
The picture of a replay is made by :func:`replays.picture.picture`.
"""

from typing import TYPE_CHECKING

from agents.lazy import fetcher

if TYPE_CHECKING:
    from replays.file import read_replay, write_replay
    from replays.record import Replay
    from replays.score import DesignScore, score_many
    from replays.screen import watch

__all__ = ["DesignScore", "Replay", "read_replay", "score_many", "watch", "write_replay"]

_HOMES = {
    "DesignScore": "replays.score",
    "Replay": "replays.record",
    "read_replay": "replays.file",
    "score_many": "replays.score",
    "watch": "replays.screen",
    "write_replay": "replays.file",
}

__getattr__ = fetcher(__name__, _HOMES)
