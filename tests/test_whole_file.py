"""Files that a person chose are read as a whole, or refused in one line."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from treeward.errors import HuntError
from treeward.files import read_whole

if TYPE_CHECKING:
    from pathlib import Path


def read(
    path: Path, most_bytes: int = 10, missing: tuple[str, str] | None = None
) -> bytes:
    return read_whole(
        path,
        most_bytes=most_bytes,
        error=HuntError,
        too_large="Cut it.",
        missing=missing,
    )


def test_a_file_of_the_largest_size_is_read(tmp_path: Path) -> None:
    path = tmp_path / "a"
    path.write_bytes(b"0123456789")

    assert read(path) == b"0123456789"


def test_a_larger_file_is_refused_unread(tmp_path: Path) -> None:
    path = tmp_path / "a"
    path.write_bytes(b"x" * 11_000_000)

    with pytest.raises(HuntError, match=r"a: is 11 MB large, more than.*Cut it\."):
        read(path, 2_000_000)


def test_a_missing_file_is_told_as_asked(tmp_path: Path) -> None:
    with pytest.raises(HuntError, match=r"a: is not there\. Write one\."):
        read(tmp_path / "a", missing=("is not there", "Write one."))
    with pytest.raises(HuntError, match="a: cannot be read"):
        read(tmp_path / "a")


def test_a_folder_is_refused(tmp_path: Path) -> None:
    with pytest.raises(HuntError, match=r"cannot be read .*a file you may read"):
        read(tmp_path, 1_000_000)
