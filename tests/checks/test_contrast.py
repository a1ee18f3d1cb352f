"""Contrast of colour pairs against published ratios.

wc-01: WCAG 2.2 (W3C Recommendation 2023), "relative luminance" and "contrast ratio"; #767676 is the
lightest grey that still passes 4.5:1 on white, #949494 the lightest that passes 3:1.
wc-02: the palette of Okabe and Ito (Color Universal Design, 2002/2008; Wong, Nature Methods 8, 2011, p. 441).
"""

from __future__ import annotations

import pytest

from reports.palette import contrast

PAIRS = [
    ("#000", "#fff", 21.0), ("#777", "#fff", 4.4781), ("#767676", "#fff", 4.5422),
    ("#595959", "#fff", 7.0047), ("#949494", "#fff", 3.0335), ("#959595", "#fff", 2.9953),
    ("#f00", "#fff", 3.9985), ("#00f", "#fff", 8.5925), ("#777", "#000", 4.6895),
]  # fmt: skip

OKABE_ITO_ON_WHITE = [
    ("#000000", 21.0), ("#E69F00", 2.252), ("#56B4E9", 2.307), ("#009E73", 3.421), ("#F0E442", 1.322),
    ("#0072B2", 5.185), ("#D55E00", 3.867), ("#CC79A7", 3.061),
]  # fmt: skip


@pytest.mark.parametrize(("one", "other", "ratio"), PAIRS)
def test_contrast_of_pairs_wc_01(one: str, other: str, ratio: float) -> None:
    assert contrast(one, other) == pytest.approx(ratio, abs=6e-5)


@pytest.mark.parametrize(("colour", "ratio"), OKABE_ITO_ON_WHITE)
def test_contrast_of_a_published_palette_wc_02(colour: str, ratio: float) -> None:
    assert contrast(colour, "#ffffff") == pytest.approx(ratio, abs=6e-4)


def test_order_and_short_spelling_do_not_matter() -> None:
    assert contrast("#123456", "#abcdef") == contrast("#abcdef", "#123456")
    assert contrast("#fff", "#1a2b3c") == contrast("#ffffff", "#1a2b3c")
