"""`pennyfall sheet`: a whole PDF or one sentence."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

import pymupdf
import pytest
from matplotlib.backends.backend_pdf import PdfPages
from typer.testing import CliRunner

from pennyfall.calibration import page
from pennyfall.cli.app import app

runner = CliRunner()
open_pdf: Any = pymupdf.open  # its annotations are incomplete


@pytest.mark.parametrize(("paper", "width_pt"), [("a4", 841.89), ("letter", 792.0)])
def test_the_chosen_paper_is_written(tmp_path: Path, paper: str, width_pt: float) -> None:
    out = tmp_path / "sheet.pdf"
    result = runner.invoke(app, ["sheet", "--paper", paper, "--out", str(out)])
    assert result.exit_code == 0, result.output
    assert "Print it at 100 %" in result.stdout
    with open_pdf(out) as document:
        assert len(document) == 2
        assert document[0].rect.width == pytest.approx(width_pt, abs=0.01)


def test_the_board_comes_as_a_third_page(tmp_path: Path) -> None:
    out = tmp_path / "sheet.pdf"
    assert runner.invoke(app, ["sheet", "--board", "--out", str(out)]).exit_code == 0
    with open_pdf(out) as document:
        assert len(document) == 3


class OtherLayout(PdfPages):
    """Writes the catalogue as a later matplotlib might: the same PDF, other blanks."""

    def __init__(self, filename: io.BytesIO, **others: Any) -> None:  # noqa: ANN401 - as matplotlib's
        self.written = filename
        super().__init__(filename, **others)

    def close(self) -> None:
        super().close()  # type: ignore[no-untyped-call]
        pdf = self.written.getvalue().replace(b"<< /Type /Catalog", b"<</Type  /Catalog")
        self.written.seek(0)
        self.written.write(pdf)


def test_a_pdf_laid_out_in_another_way_is_written_as_it_is_and_that_is_said(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    plain = runner.invoke(app, ["sheet", "--out", str(tmp_path / "plain.pdf")])
    assert "scaling" not in plain.stderr
    monkeypatch.setattr(page, "PdfPages", OtherLayout)
    out = tmp_path / "sheet.pdf"
    result = runner.invoke(app, ["sheet", "--out", str(out)])
    assert result.exit_code == 0, result.output
    assert "choose 'actual size' yourself" in result.stderr
    with open_pdf(out) as document:
        assert len(document) == 2
        assert "floor sheet" in document[0].get_text()


def test_an_unknown_paper_is_a_usage_error(tmp_path: Path) -> None:
    result = runner.invoke(app, ["sheet", "--paper", "a5", "--out", str(tmp_path / "sheet.pdf")])
    assert result.exit_code == 2
    assert "'a4', 'letter'" in result.stderr


def test_a_folder_that_is_not_there_is_named(tmp_path: Path) -> None:
    result = runner.invoke(app, ["sheet", "--out", str(tmp_path / "nowhere" / "sheet.pdf")])
    assert result.exit_code == 2
    assert "cannot be written" in result.stderr
    assert "folder" in result.stderr
