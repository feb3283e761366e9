"""The smallest change worth believing, against a published table."""

from __future__ import annotations

import numpy as np
import pytest

from pennyfall.kinematics.lesson.power import minimal_detectable_change
from pennyfall.kinematics.values import FloatArray


@pytest.fixture
def trials() -> FloatArray:
    """Two trials of eight subjects: Weir (2005), J. Strength Cond. Res. 19:231-240, data set A."""
    return np.array(
        [[146, 140], [148, 152], [170, 152], [90, 99], [157, 145], [156, 153], [176, 167], [205, 218.0]]
    )


def test_the_minimal_difference_is_1_96_root_2_sem(trials: FloatArray) -> None:
    # Weir (2005): SEM 7.6 (p. 236), MD = SEM x 1.96 x sqrt(2) = 20.9 for data set A; of two trials the SEM
    # is the typical error of Hopkins (2000), Sports Med. 30:1-15: sd of the differences over root 2
    sem = float(np.std(trials[:, 1] - trials[:, 0], ddof=1)) / 2**0.5
    assert sem == pytest.approx(7.6, abs=0.05)
    assert minimal_detectable_change(sem) == pytest.approx(20.9, abs=0.05)


def test_more_strokes_make_smaller_changes_detectable_by_the_root_of_their_number() -> None:
    assert minimal_detectable_change(1.0, strokes=4) == pytest.approx(minimal_detectable_change(1.0) / 2)


def test_few_degrees_of_freedom_ask_for_a_larger_change() -> None:
    # t(0.975; 4) = 2.776 (any table of Student's t, three decimals, hence 0.0005 root 2)
    assert minimal_detectable_change(1.0, df=4) == pytest.approx(2.776 * 2**0.5, abs=7.1e-4)
