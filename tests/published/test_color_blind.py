"""Colors that tell groups of a chart apart stay apart for the color-blind, in the light and in the dark.

Source: Machado, Oliveira and Fernandes, "A Physiologically-based Model for Simulation of Color Vision
    Deficiency", IEEE TVCG 15(6):1291-1298, 2009, matrices of severity 1.0; CIE 1976 L*a*b* (D65)
Status: from memory (the matrices, and the conversion to L*a*b*)
"""

from __future__ import annotations

import re

import numpy as np
import pytest

from tests import ROOT

SEEN = {
    "normal": np.eye(3),
    "protanopia": np.array(
        [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]
    ),
    "deuteranopia": np.array(
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]
    ),
    "tritanopia": np.array(
        [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]]
    ),
}
TO_XYZ = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
APART = 20
"""Of L*a*b*; some 2 is just seen. Common practice, no source."""


def _inks(name: str) -> tuple[str, str]:
    """A token in the light and in the dark."""
    tokens = (ROOT / "api" / "static" / "tokens.css").read_text(encoding="utf-8")
    found = re.search(rf"--{name}: light-dark\((#\w+), (#\w+)\)", tokens)
    assert found is not None
    return found[1], found[2]


def _lab(color: str, seen: str) -> np.ndarray:
    coded = np.array([int(color[at : at + 2], 16) for at in (1, 3, 5)]) / 255
    linear = np.where(coded <= 0.04045, coded / 12.92, ((coded + 0.055) / 1.055) ** 2.4)
    xyz = TO_XYZ @ np.clip(SEEN[seen] @ linear, 0, 1) / TO_XYZ.sum(axis=1)
    x, y, z = np.where(xyz > 0.008856, np.cbrt(xyz), 7.787 * xyz + 16 / 116)
    return np.array([116 * y - 16, 500 * (x - y), 200 * (y - z)])


def test_white_is_white_to_everybody() -> None:
    for seen in SEEN:
        assert _lab("#ffffff", seen) == pytest.approx([100, 0, 0], abs=0.5)


@pytest.mark.parametrize("seen", SEEN)
@pytest.mark.parametrize("dark", [False, True])
def test_the_colors_of_the_charts_stay_apart(seen: str, dark: bool) -> None:
    mark, danger, sheet = (_lab(_inks(name)[dark], seen) for name in ("mark", "danger", "sheet"))
    assert np.linalg.norm(mark - danger) > APART
    assert np.linalg.norm(mark - sheet) > APART
    assert np.linalg.norm(danger - sheet) > APART
