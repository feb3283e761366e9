"""The progress bar goes to the error stream of a terminal, and nowhere else."""

from __future__ import annotations

import io

import pytest

from pennyfall.cli.console import progress_bar


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def drawn(stream: io.StringIO, monkeypatch: pytest.MonkeyPatch, *, quiet: bool = False) -> str:
    monkeypatch.setattr("sys.stderr", stream)
    with progress_bar("clip.mp4", quiet=quiet) as advance:
        for share in (0.0, 0.25, 0.2, 0.254, 1.0, 1.5):
            advance(share)
    return stream.getvalue()


def test_a_terminal_sees_the_clip_and_how_much_is_done(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    shown = drawn(Terminal(), monkeypatch)
    assert "clip.mp4" in shown
    assert "25%" in shown
    assert "100%" in shown
    assert shown.endswith("\n"), "what is printed next begins on a line of its own"
    assert capsys.readouterr().out == ""


@pytest.mark.parametrize(("stream", "quiet"), [(io.StringIO(), False), (Terminal(), True)])
def test_nothing_is_drawn_where_nobody_looks(
    monkeypatch: pytest.MonkeyPatch, stream: io.StringIO, quiet: bool
) -> None:
    assert drawn(stream, monkeypatch, quiet=quiet) == ""
