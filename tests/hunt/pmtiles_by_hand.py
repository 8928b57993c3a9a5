"""PMTiles files put together by hand (version 3 of their specification)."""

from __future__ import annotations

import struct


def varints(*values: int) -> bytes:
    """Write numbers as PMTiles does: seven bits a byte, the lowest first."""
    out = b""
    for value in values:
        while value >= 128:
            out += bytes([value & 127 | 128])
            value >>= 7  # noqa: PLW2901
        out += bytes([value])
    return out


def entry(run_length: int, length: int, offset: int = 0) -> bytes:
    """Write a directory of one entry from tile 0 on: a run of tiles, or a leaf (0)."""
    return varints(1, 0, run_length, length, offset + 1)


def archive(
    root: bytes,
    *,
    leaves: bytes = b"",
    data: bytes = b"",
    kind: int = 2,
    packed: int = 2,
    tiles_packed: int = 1,
    zooms: tuple[int, int] = (0, 15),
) -> bytes:
    """Give the bytes of a file: its header, the root, leaves, and tiles."""
    starts = 127, 127 + len(root), 127 + len(root) + len(leaves)
    numbers = (
        starts[0], len(root), 127, 0, starts[1], len(leaves), starts[2], len(data),
        0, 0, 0,
    )  # fmt: skip
    head = b"PMTiles\x03" + struct.pack("<11Q", *numbers)
    head += bytes([1, packed, tiles_packed, kind, *zooms])  # 1: clustered
    return head.ljust(127, b"\0") + root + leaves + data
