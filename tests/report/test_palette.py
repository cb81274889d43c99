"""Colours of figures and pages: readable on white, and told apart by every kind of colour vision.

Vision is simulated by the matrices of Machado, Oliveira and Fernandes, IEEE Transactions on Visualization and Computer
Graphics 15 (2009) 1291–1298, for full severity, applied to linear RGB. The paper was not opened: the numbers are from
memory and agree with ten public programs that cite it. Distances are Euclidean in CIELAB (CIE 1976, white D65), where
about 2.3 is a difference just seen (from memory).
"""

from __future__ import annotations

import itertools
import re

import numpy as np
import pytest

from analysis.report.exporting import TEMPLATES
from analysis.report.style import COLOURS, INK, QUIET

VISION = {
    "full": np.eye(3),
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
# IEC 61966-2-1 (sRGB) to CIE XYZ, white D65.
XYZ = np.array(
    [[0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.0721750], [0.0193339, 0.1191920, 0.9503041]]
)
APART = 15.0  # six times what is just seen: between thin lines more is needed than between fields
AA = 4.5  # contrast of small words on white, WCAG 2.2


def linear(colour: str) -> np.ndarray:
    share = np.array([int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)])
    return np.where(share <= 0.04045, share / 12.92, ((share + 0.055) / 1.055) ** 2.4)


def lab(light: np.ndarray) -> np.ndarray:
    t = XYZ @ np.clip(light, 0, 1) / XYZ.sum(axis=1)
    f = np.where(t > (6 / 29) ** 3, np.cbrt(t), t / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def apart(one: str, other: str, vision: str) -> float:
    seen = [lab(VISION[vision] @ linear(colour)) for colour in (one, other)]
    return float(np.linalg.norm(seen[0] - seen[1]))


def contrast(colour: str) -> float:
    return 1.05 / (float(XYZ[1] @ linear(colour)) + 0.05)


@pytest.mark.parametrize("vision", VISION)
def test_all_colours_of_curves_are_told_apart(vision):
    for one, other in itertools.combinations(COLOURS, 2):
        assert apart(one, other, vision) >= APART, f"{one} and {other} look alike with {vision}"


def test_greys_look_the_same_to_everybody_and_red_and_green_do_not():
    for vision in VISION:
        assert apart("#808080", "#808080", vision) == 0
        np.testing.assert_allclose(VISION[vision].sum(axis=1), 1, atol=2e-6)
    assert apart("#c00000", "#6b6b00", "deuteranopia") < APART < apart("#c00000", "#6b6b00", "full")


def test_every_colour_of_words_is_dark_enough_on_white():
    css = "".join((TEMPLATES / name).read_text(encoding="utf-8") for name in ("bench/page.css", "plain/plain.css"))
    words = {*COLOURS, INK, QUIET, *re.findall(r"(?<![-\w])color: (#[0-9a-f]{6})", css)}
    words |= set(re.findall(r"--(?:ink|quiet|accent): (#[0-9a-f]{6})", css))
    assert len(words) > len(COLOURS) + 2
    assert contrast("#ffffff") == pytest.approx(1)
    assert contrast("#000000") == pytest.approx(21)
    for colour in words:
        assert contrast(colour) >= AA, colour
