"""What commands say on stderr while they work."""

from __future__ import annotations

import time
from typing import TYPE_CHECKING

import pytest

from treeward import cli
from treeward.cli import main
from treeward.hunt.hunt import Hunt

if TYPE_CHECKING:
    from pathlib import Path

    from treeward.report.model import HuntResult


@pytest.fixture(autouse=True)
def _soon(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cli, "SILENT_S", 0.1)


def test_only_a_step_that_takes_long_is_told(
    capsys: pytest.CaptureFixture[str],
) -> None:
    with cli.Doing() as doing:
        doing.step("short work")
        doing.step("long work on [a] hunt")
        time.sleep(0.5)
        doing.step("more short work")

    said = capsys.readouterr()
    assert said.err == "long work on [a] hunt ...\n"
    assert said.out == ""


@pytest.mark.slow
def test_locate_says_where_its_output_is_piped_what_takes_long(
    typed_hunt: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    locate = Hunt.locate

    def slowly(hunt: Hunt) -> HuntResult:
        time.sleep(0.5)
        return locate(hunt)

    monkeypatch.setattr(Hunt, "locate", slowly)

    with pytest.raises(SystemExit) as ended:
        main(["locate", "--hunt", str(typed_hunt)])

    said = capsys.readouterr()
    assert not ended.value.code
    assert "working out where the colony is ...\n" in said.err
    assert "working out" not in said.out
