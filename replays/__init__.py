"""What a run leaves behind: its file, its scores, its picture, and a window to watch it in.

The names below are fetched when they are first asked for, so that whoever needs one does not wait for all.
The picture of a replay is made by :func:`replays.drawing.pictures.picture`.
"""

from typing import TYPE_CHECKING

from agents.lazy import fetcher

if TYPE_CHECKING:
    from replays.format.replay_file import read_replay, write_replay
    from replays.format.tables import Replay
    from replays.scoring.scores import DesignScore, score_many
    from replays.window.screen import watch

__all__ = ["DesignScore", "Replay", "read_replay", "score_many", "watch", "write_replay"]

_HOMES = {
    "DesignScore": "replays.scoring.scores",
    "Replay": "replays.format.tables",
    "read_replay": "replays.format.replay_file",
    "score_many": "replays.scoring.scores",
    "watch": "replays.window.screen",
    "write_replay": "replays.format.replay_file",
}

__getattr__ = fetcher(__name__, _HOMES)
