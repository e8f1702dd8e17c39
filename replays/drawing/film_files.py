"""Frames of a film written to a file one by one, so that no more than two of them are ever in memory.

Animated GIF (CompuServe, Graphics Interchange Format, version 89a), animated PNG (W3C, Portable Network
Graphics, third edition) and, with the extra ``film``, H.264 in MP4. Of a frame only the rectangle is written
in which it differs from the one before; one that is the same makes that one stand longer.
"""

import contextlib
import io
import shutil
import struct
import tempfile
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any, BinaryIO, Protocol

import numpy as np
from numpy.typing import NDArray

from agents.errors import OutputError

Frame = NDArray[np.uint8]

LAST_STANDS = 2.0
"""How long the last frame stands beyond its own time [s]."""

# Number of the colour of a GIF that stands for "as before".
_CLEAR = 255
# The longest that a frame of each format can stand [ms].
_LONGEST_GIF, _LONGEST_PNG = 650_000, 60_000

Box = tuple[int, int, int, int]
"""Left, top, right and bottom of a rectangle [pixels]."""


class FilmWriter(Protocol):
    """Takes frames one after the other."""

    def add(self, frame: Frame) -> None:
        """Add a frame (height, width, 3)."""

    def close(self) -> None:
        """Write what is still held, and the end of the file."""


def write_frames(stream: BinaryIO, ending: str, shown: Iterator[Frame], rate: float) -> None:
    """Write the frames of a film, ``rate`` a second, to ``stream``; ``ending`` tells the format.

    Raises OutputError where the extra for MP4 is missing or fails.
    """
    if ending == ".mp4":
        _write_mp4(stream, shown, rate)
        return
    writer: FilmWriter = GifWriter(stream, rate) if ending == ".gif" else PngWriter(stream, rate)
    for frame in shown:
        writer.add(frame)
    writer.close()


def changed_box(frame: NDArray[Any], before: NDArray[Any]) -> Box | None:
    """The rectangle in which two frames differ; None where they are the same."""
    differs = frame != before
    if differs.ndim > 2:
        differs = differs.any(axis=2)
    rows, columns = np.flatnonzero(differs.any(axis=1)), np.flatnonzero(differs.any(axis=0))
    if not len(rows):
        return None
    return int(columns[0]), int(rows[0]), int(columns[-1]) + 1, int(rows[-1]) + 1


class GifWriter:
    """A GIF in 255 colours that serve all frames, so that nothing flickers.

    What has not changed since the frame before is left transparent, which makes the file several times
    smaller.
    """

    def __init__(self, stream: BinaryIO, rate: float) -> None:
        self._stream = stream
        # the format counts time in hundredths of a second, and viewers slow down what is faster than two
        self._lasts_ms = max(20, 10 * round(100.0 / rate))
        self._palette: Any = None
        self._before: NDArray[np.uint8] | None = None
        self._held: bytes | None = None
        self._stands_ms = 0

    def add(self, frame: Frame) -> None:
        """Add a frame (height, width, 3)."""
        from PIL import Image

        picture = Image.fromarray(frame)
        if self._palette is None:
            colours = picture.quantize(
                colors=_CLEAR, method=Image.Quantize.MEDIANCUT, dither=Image.Dither.NONE
            )
            self._palette = colours
            self._begin(*picture.size, colours.getpalette() or [])
        index = np.asarray(picture.quantize(palette=self._palette, dither=Image.Dither.NONE))
        before, self._before = self._before, index
        whole = (0, 0, index.shape[1], index.shape[0])
        box = whole if before is None else changed_box(index, before)
        if box is None and self._stands_ms + self._lasts_ms <= _LONGEST_GIF:
            self._stands_ms += self._lasts_ms
            return
        self._write_held()
        left, top, right, bottom = box or (0, 0, 1, 1)
        part = index[top:bottom, left:right]
        if before is not None:
            part = np.where(part == before[top:bottom, left:right], np.uint8(_CLEAR), part)
        size = struct.pack("<HHHHB", left, top, right - left, bottom - top, 0)
        self._held = b"\x2c" + size + _gif_data(part, self._palette)
        self._stands_ms = self._lasts_ms

    def _begin(self, width: int, height: int, palette: list[int]) -> None:
        # a table of 256 colours for all frames, and an extension that lets viewers play it over and over
        table = bytes((palette + [0] * 768)[:768])
        self._stream.write(b"GIF89a" + struct.pack("<HHBBB", width, height, 0xF7, 0, 0) + table)
        self._stream.write(b"\x21\xff\x0bNETSCAPE2.0\x03\x01\x00\x00\x00")

    def _write_held(self) -> None:
        if self._held is not None:
            # what a frame does not draw stays, and one colour draws nothing
            control = struct.pack("<BHBB", 0x05, self._stands_ms // 10, _CLEAR, 0)
            self._stream.write(b"\x21\xf9\x04" + control + self._held)
            self._held = None

    def close(self) -> None:
        """Write what is still held, and the end of the file."""
        self._stands_ms += round(1000.0 * LAST_STANDS)
        self._write_held()
        self._stream.write(b"\x3b")


def _gif_data(index: NDArray[np.uint8], palette: Any) -> bytes:
    """The pixels of a frame, packed as the format has them, by the writer of a library."""
    from PIL import Image

    picture = Image.fromarray(np.ascontiguousarray(index))
    picture.putpalette(palette.getpalette())
    alone = io.BytesIO()
    picture.save(alone, format="GIF", optimize=False, interlace=False)
    content = alone.getvalue()
    # header and screen, the table of colours that the flags tell, extensions, and then the picture
    place = 13 + (3 << ((content[10] & 7) + 1) if content[10] & 0x80 else 0)
    while content[place] == 0x21:
        place = _after_blocks(content, place + 2)
    flags = content[place + 9]
    first = place + 10 + (3 << ((flags & 7) + 1) if flags & 0x80 else 0)
    return content[first : _after_blocks(content, first + 1)]


def _after_blocks(content: bytes, place: int) -> int:
    """The place after a row of blocks, each behind its length, up to one of none."""
    while content[place]:
        place += content[place] + 1
    return place + 1


class PngWriter:
    """An animated PNG, in full colours."""

    def __init__(self, stream: BinaryIO, rate: float) -> None:
        self._stream = stream
        self._lasts_ms = round(1000.0 / rate)
        self._before: Frame | None = None
        self._held: tuple[Box, bytes] | None = None
        self._stands_ms = 0
        self._count = self._numbered = 0
        self._control_at = 0

    def add(self, frame: Frame) -> None:
        """Add a frame (height, width, 3)."""
        from PIL import Image

        before, self._before = self._before, frame
        box = (0, 0, frame.shape[1], frame.shape[0]) if before is None else changed_box(frame, before)
        if box is None and self._stands_ms + self._lasts_ms <= _LONGEST_PNG:
            self._stands_ms += self._lasts_ms
            return
        self._write_held()
        left, top, right, bottom = box = box or (0, 0, 1, 1)
        alone = io.BytesIO()
        Image.fromarray(np.ascontiguousarray(frame[top:bottom, left:right])).save(alone, format="PNG")
        chunks = list(_chunks(alone.getvalue()))
        if before is None:
            self._begin(next(data for name, data in chunks if name == b"IHDR"))
        self._held = (box, b"".join(data for name, data in chunks if name == b"IDAT"))
        self._stands_ms = self._lasts_ms

    def _begin(self, header: bytes) -> None:
        self._stream.write(b"\x89PNG\r\n\x1a\n")
        self._write(b"IHDR", header)
        # how many frames there are is known in the end
        self._control_at = self._stream.tell()
        self._write(b"acTL", struct.pack(">II", 1, 0))

    def _write(self, name: bytes, data: bytes) -> None:
        self._stream.write(struct.pack(">I", len(data)) + name + data)
        self._stream.write(struct.pack(">I", zlib.crc32(name + data)))

    def _number(self) -> bytes:
        self._numbered += 1
        return struct.pack(">I", self._numbered - 1)

    def _write_held(self) -> None:
        if self._held is None:
            return
        (left, top, right, bottom), data = self._held
        place = struct.pack(">IIII", right - left, bottom - top, left, top)
        # left as it is when its time is over, and laid over what was there
        self._write(b"fcTL", self._number() + place + struct.pack(">HHBB", self._stands_ms, 1000, 0, 0))
        if self._count == 0:
            self._write(b"IDAT", data)
        else:
            self._write(b"fdAT", self._number() + data)
        self._count += 1
        self._held = None

    def close(self) -> None:
        """Write what is still held, and the end of the file."""
        self._stands_ms += round(1000.0 * LAST_STANDS)
        self._write_held()
        self._write(b"IEND", b"")
        self._stream.seek(self._control_at)
        self._write(b"acTL", struct.pack(">II", self._count, 0))
        self._stream.seek(0, io.SEEK_END)


def _chunks(content: bytes) -> Iterator[tuple[bytes, bytes]]:
    """Names and data of the chunks of a PNG."""
    place = 8
    while place < len(content):
        (length,) = struct.unpack_from(">I", content, place)
        yield content[place + 4 : place + 8], content[place + 8 : place + 8 + length]
        place += length + 12


def _write_mp4(stream: BinaryIO, shown: Iterator[Frame], rate: float) -> None:
    """By the ffmpeg that comes with imageio-ffmpeg, which writes to a file of its own first."""
    try:
        import imageio_ffmpeg
    except ImportError as error:
        raise OutputError(
            "films in MP4 need the extra film: pip install 'photodrome[film]'; GIF and PNG need nothing more"
        ) from error
    with tempfile.TemporaryDirectory() as folder:
        part = Path(folder) / "film.mp4"
        first = next(shown)
        # the codec takes even numbers of pixels only
        height, width = (pixels // 2 * 2 for pixels in first.shape[:2])
        writer = imageio_ffmpeg.write_frames(
            str(part),
            (width, height),
            fps=rate,
            codec="libx264",
            quality=None,
            macro_block_size=2,
            output_params=["-crf", "20", "-preset", "medium", "-movflags", "+faststart"],
        )
        with contextlib.closing(writer):
            try:
                writer.send(None)
                last = np.ascontiguousarray(first[:height, :width])
                writer.send(last)
                for frame in shown:
                    last = np.ascontiguousarray(frame[:height, :width])
                    writer.send(last)
                for _ in range(round(LAST_STANDS * rate)):
                    writer.send(last)
            except OSError as error:
                raise OutputError(f"the film could not be made: {error}") from error
        with part.open("rb") as made:
            shutil.copyfileobj(made, stream)
