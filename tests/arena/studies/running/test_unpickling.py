"""What a cluster sends is not run: by pickles that would leave a file, read as Dask reads them."""

import contextlib
import os
import pickle
from importlib import import_module
from pathlib import Path
from typing import Any

import pytest

from arena.studies.running.unpickling import Foreign, harmless_loads, nothing_unpickled

# as modules: one of them shares its name with a function
core: Any = import_module("distributed.protocol.core")
serialize: Any = import_module("distributed.protocol.serialize")


class Evil:
    """An object whose pickle runs a command in whoever reads it."""

    def __init__(self, mark: Path) -> None:
        self.mark = mark

    def __reduce__(self) -> Any:
        return os.system, (f"touch {self.mark}",)


class Sly(Evil):
    """One that is put together by further steps."""

    def __reduce__(self) -> Any:
        return Evil, (self.mark,), {"mark": self.mark}, iter([1, 2]), iter({"a": 1}.items())


def ways_in(mark: Path) -> list[list[bytes]]:
    """Messages of Dask that hold such a pickle, each in another way."""
    message = {"op": "task-erred"}
    header, frames = serialize.pickle_dumps(Evil(mark))
    typed = {"serializer": "dask", "type-serialized": pickle.dumps(Evil(mark)), "sub-header": {}}
    return [
        core.dumps({**message, "exception": serialize.ToPickle(Evil(mark))}),
        core.dumps({**message, "exception": serialize.Serialize(Evil(mark))}),
        core.dumps({**message, "exception": serialize.Serialized(header, frames)}),
        core.dumps({**message, "exception": serialize.Serialized(typed, [b"x"])}),
    ]


@pytest.mark.parametrize("way", range(4))
def test_nothing_is_run_that_dask_would_run(way: int, tmp_path: Path) -> None:
    mark = tmp_path / "mark"
    frames = ways_in(mark)[way]
    with nothing_unpickled():
        read(frames)
    assert not mark.exists()
    # and the very same is run without
    read(frames)
    assert mark.exists()


def read(frames: list[bytes]) -> None:
    """Read a message as Dask does; what comes of it may be an error."""
    with contextlib.suppress(Exception):
        core.loads(frames)


def test_what_reads_in_another_way_is_refused_by_the_hook(tmp_path: Path) -> None:
    """As a module of Dask that has Python's own reader, called by whatever name."""
    mark = tmp_path / "mark"
    content = pickle.dumps(Evil(mark))
    within: dict[str, Any] = {"__name__": "distributed.elsewhere", "loads": pickle.loads}
    exec("def read(content):\n    return loads(content)", within)
    with nothing_unpickled():
        with pytest.raises(pickle.UnpicklingError, match=r"system was sent by a cluster"):
            within["read"](content)
        # what this program reads itself is none of that
        assert pickle.loads(pickle.dumps({"a": Path("b")})) == {"a": Path("b")}
    assert not mark.exists()


def test_plain_values_come_through_and_all_else_is_a_placeholder(tmp_path: Path) -> None:
    plain = {"a": [1, 2.5, None, True, "ü", b"x"], "b": (1, {2, 3})}
    assert harmless_loads(pickle.dumps(plain)) == plain
    for evil in (Evil(tmp_path / "mark"), Sly(tmp_path / "mark")):
        found = harmless_loads(pickle.dumps(evil))
        assert isinstance(found, Foreign)
    assert not (tmp_path / "mark").exists()
    told = harmless_loads(pickle.dumps(ValueError("no such pot")))
    # which Dask has pickled in a way of its own
    assert isinstance(told, Foreign)
    assert "ValueError" in f"{type(told).__name__} {told}"
    assert "no such pot" in str(told)
    assert "cannot be read" in str(harmless_loads(b"garbage"))
    assert "cannot be read" in str(harmless_loads(pickle.dumps(plain)[:-9]))
