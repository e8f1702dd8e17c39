"""What a run leaves behind: its file, its scores, its picture or film, and a window to watch it in.

The names below are fetched when they are first asked for, so that whoever needs one does not wait for all.
"""

from typing import TYPE_CHECKING

from agents.lazy_names import fetcher

if TYPE_CHECKING:
    from replays.drawing.films import make_film, make_show
    from replays.drawing.pictures import draw_picture
    from replays.format.replay_file import read_replay, write_replay
    from replays.format.tables import Replay
    from replays.scoring.scores import DesignScore, score, score_many
    from replays.window.screen import watch, watch_show

__all__ = [
    "DesignScore",
    "Replay",
    "draw_picture",
    "make_film",
    "make_show",
    "read_replay",
    "score",
    "score_many",
    "watch",
    "watch_show",
    "write_replay",
]

_HOMES = {
    "DesignScore": "replays.scoring.scores",
    "Replay": "replays.format.tables",
    "draw_picture": "replays.drawing.pictures",
    "make_film": "replays.drawing.films",
    "make_show": "replays.drawing.films",
    "read_replay": "replays.format.replay_file",
    "score": "replays.scoring.scores",
    "score_many": "replays.scoring.scores",
    "watch": "replays.window.screen",
    "watch_show": "replays.window.screen",
    "write_replay": "replays.format.replay_file",
}

__getattr__ = fetcher(__name__, _HOMES)


def __dir__() -> list[str]:
    return [*globals(), *__all__]
