"""Mangling of bytes and of zips, without a thought for what they hold."""

import io
import struct
import zipfile
from collections.abc import Callable, Mapping
from typing import Any

import numpy as np

Draw = np.random.Generator
Members = dict[str, bytes]


def drawn_way(ways: Mapping[str, tuple[Any, float]], draw: Draw) -> str:
    """The name of one of several ways, each with the share in which it is to be drawn."""
    shares = np.array([share for _, share in ways.values()])
    return list(ways)[int(draw.choice(len(ways), p=shares / shares.sum()))]


def zip_of(members: Members, method: int = zipfile.ZIP_DEFLATED) -> bytes:
    """A zip of ``members``."""
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", method) as archive:
        for name, content in members.items():
            archive.writestr(name, content)
    return stream.getvalue()


def members_of(whole: bytes) -> Members:
    """What a zip holds."""
    with zipfile.ZipFile(io.BytesIO(whole)) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def flipped(whole: bytes, draw: Draw) -> bytes:
    """Some bits are others."""
    damaged = bytearray(whole)
    for place in draw.integers(len(damaged), size=int(draw.integers(1, 40))):
        damaged[place] ^= 1 << int(draw.integers(8))
    return bytes(damaged)


def spliced(whole: bytes, draw: Draw) -> bytes:
    """A piece is gone, doubled, moved, or blank."""
    first, last = sorted(int(place) for place in draw.integers(len(whole), size=2))
    piece = whole[first:last]
    ways = (b"", piece * 2, piece[::-1], b"\0" * len(piece), b"\xff" * len(piece))
    return whole[:first] + ways[int(draw.integers(len(ways)))] + whole[last:]


def cut_short(whole: bytes, draw: Draw) -> bytes:
    """It ends before its end, or begins behind its beginning, or something stands before or behind it."""
    place = int(draw.integers(len(whole)))
    noise = draw.bytes(int(draw.integers(1, 70_000)))
    return (whole[:place], whole[place:], noise + whole, whole + noise)[int(draw.integers(4))]


def _fields(signature: bytes, offset: int, form: str) -> Callable[[bytes, Draw], bytes]:
    def changed(whole: bytes, draw: Draw) -> bytes:
        places = [place for place in range(len(whole)) if whole.startswith(signature, place)]
        damaged = bytearray(whole)
        size = struct.calcsize(form)
        values = (0, 1, 8, 80, 0xFFFF, 0x7FFFFFFF, 0xFFFFFFFF, int(draw.integers(1 << 32)))
        value = values[int(draw.integers(len(values)))] & ((1 << 8 * size) - 1)
        for place in places if draw.random() < 0.3 else places[: 1 + int(draw.integers(len(places)))][-1:]:
            if place + offset + size <= len(damaged):
                struct.pack_into(form, damaged, place + offset, value)
        return bytes(damaged)

    return changed


# Places of the fields of a zip, after the published description of the format (APPNOTE.TXT 6.3.10, 4.3).
_ENTRY, _LOCAL, _END = b"PK\x01\x02", b"PK\x03\x04", b"PK\x05\x06"
ZIP_FIELDS = {
    "version needed": _fields(_ENTRY, 6, "<H"),
    "flags": _fields(_ENTRY, 8, "<H"),
    "method": _fields(_ENTRY, 10, "<H"),
    "time": _fields(_ENTRY, 12, "<I"),
    "checksum": _fields(_ENTRY, 16, "<I"),
    "packed size": _fields(_ENTRY, 20, "<I"),
    "size": _fields(_ENTRY, 24, "<I"),
    "length of the name": _fields(_ENTRY, 28, "<H"),
    "length of the extra field": _fields(_ENTRY, 30, "<H"),
    "attributes": _fields(_ENTRY, 38, "<I"),
    "place of the member": _fields(_ENTRY, 42, "<I"),
    "method of the member": _fields(_LOCAL, 8, "<H"),
    "name of the member": _fields(_LOCAL, 26, "<H"),
    "number of members": _fields(_END, 10, "<H"),
    "size of the list": _fields(_END, 12, "<I"),
    "place of the list": _fields(_END, 16, "<I"),
    "length of the comment": _fields(_END, 20, "<H"),
}


def other_zip(whole: bytes, draw: Draw) -> bytes:
    """The same members in another zip, or others beside them, or a name that leads elsewhere."""
    members = members_of(whole)
    names = list(members)
    name = names[int(draw.integers(len(names)))]
    way = int(draw.integers(9))
    if way < 3:
        return zip_of(members, (zipfile.ZIP_LZMA, zipfile.ZIP_BZIP2, zipfile.ZIP_STORED)[way])
    if way == 3:
        return zip_of(members | {f"{number}.npy": b"" for number in range(30_000)})
    if way == 4:
        return zip_of(members | {f"../../{name}": b"out", "/etc/other": b"out", "a\0b.npy": b""})
    if way == 5:
        return zip_of({other: content for other, content in members.items() if other != name})
    if way == 6:
        return zip_of({other.replace(name, f"x\0{name}"): content for other, content in members.items()})
    if way == 7:
        return zip_of(members | {name: b"\0" * int(draw.integers(1, 300_000_000))})
    return _swelling(members, name)


def _swelling(members: Members, name: str) -> bytes:
    """A member that unpacks to far more than it says."""
    whole = zip_of(members | {name: b"\0" * 200_000_000})
    damaged = bytearray(whole)
    for signature, offset in ((_ENTRY, 24), (_LOCAL, 22)):
        for place in range(len(damaged)):
            if damaged.startswith(signature, place) and damaged[place + offset + 3] >= 11:
                struct.pack_into("<I", damaged, place + offset, 128)
    return bytes(damaged)


def array_file(content: bytes, draw: Draw) -> bytes:
    """A ``.npy`` whose description is another."""
    descriptions = (
        "{'descr': '|u1', 'fortran_order': False, 'shape': (8, 1000000000000), }",
        "{'descr': '|u1', 'fortran_order': False, 'shape': (0, 1000000000000000000000), }",
        "{'descr': '|u1', 'fortran_order': False, 'shape': (-1, -1), }",
        "{'descr': '|u1', 'fortran_order': True, 'shape': (3, 2), }",
        "{'descr': '|O', 'fortran_order': False, 'shape': (1,), }",
        "{'descr': '<f8', 'fortran_order': False, 'shape': (), }",
        "{'descr': [('walker', '<i4', (1000000000,))], 'fortran_order': False, 'shape': (0,), }",
        "{'descr': '|u1', 'fortran_order': False, 'shape': (" + "1," * 3000 + "), }",
        "{'descr': '|u1', 'fortran_order': False, 'shape': " + "(" * 500 + ")" * 500 + ", }",
        "{'descr': __import__('os').getcwd(), 'fortran_order': False, 'shape': (1,), }",
        "[" * 3000,
        "'\\x00'",
    )
    text = descriptions[int(draw.integers(len(descriptions)))].encode()
    way = int(draw.integers(4))
    if way == 0:
        return content[: int(draw.integers(len(content) + 1))]
    version = (b"\x01\x00", b"\x02\x00", b"\x08\x00")[int(draw.integers(3))] if way == 1 else b"\x01\x00"
    length = len(text) if way < 3 else int(draw.integers(1 << 16))
    return b"\x93NUMPY" + version + struct.pack("<H", length) + text + content[128:]
