"""The worked example of a season runs as it stands; the package it fits with gives published values."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from pennyfall.cli.season.tables import write_strokes

mixed = pytest.importorskip("statsmodels.formula.api")
EXAMPLE = Path(__file__).resolve().parents[2] / "cli" / "EXAMPLE_SEASON.md"
BLOCKS = re.findall(r"```(python|text)\n(.*?)```", EXAMPLE.read_text(encoding="utf-8"), re.DOTALL)


def test_the_example_prints_what_it_shows_and_finds_the_truth_it_put_in(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The invented strokes are written once more as a season writes them: the table read is the product's.

    Truth: a change of -0.8 m/s^2, found with the standard error that 96 strokes of either version give.
    """
    monkeypatch.chdir(tmp_path)
    names: dict[str, Any] = {}
    for number, (kind, text) in enumerate(BLOCKS):
        if kind == "text":
            assert capsys.readouterr().out.split() == text.split()
            continue
        exec(text, names)
        if number == 0:
            Path("strokes.parquet").unlink()
            write_strokes(({"date": None, **row} for row in names["rows"]), Path("strokes.parquet"))
    assert [kind for kind, _ in BLOCKS] == ["python", "python", "text", "python", "text"]
    fit = names["fit"]
    error = np.sqrt(2 / 96 * (0.3**2 + 0.2**2))
    assert fit.bse["let_go"] == pytest.approx(error, rel=0.2)
    assert abs(fit.params["let_go"] + 0.8) < 3 * error


def test_the_package_fits_the_published_variances_of_six_subjects_and_four_judges() -> None:
    """Shrout & Fleiss 1979, Psychol Bull 86:420-428, tables 2 and 3: within mean square 6.26, ICC(1,1) 0.17.

    For balanced groups the restricted likelihood's variances are those of the analysis of variance.
    """
    ratings = [[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6], [10, 5, 6, 9], [6, 2, 4, 7]]
    table = pd.DataFrame(
        [(f"subject {row}", float(each)) for row, given in enumerate(ratings) for each in given],
        columns=["subject", "rating"],
    )
    fit = mixed.mixedlm("rating ~ 1", table, groups=table["subject"]).fit(reml=True)
    between = float(fit.cov_re.iloc[0, 0])
    assert fit.scale == pytest.approx(6.26, abs=0.006)
    assert between / (between + fit.scale) == pytest.approx(0.17, abs=0.005)
