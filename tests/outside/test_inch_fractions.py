"""Inches against published values.

1 in = 25.4 mm exactly: the international yard and pound agreement of 1959 (NIST SP 811, appendix B.8; from memory).
The 64 fractions: the chart at https://utilitiesbunker.com/kb/fraction-to-decimal-chart, in mm to four places.
"""

import pytest

from tracker.shop.lengths import Units, read_length

CHART_MM = """
0.3969 0.7937 1.1906 1.5875 1.9844 2.3812 2.7781 3.1750 3.5719 3.9688 4.3656 4.7625 5.1594 5.5562 5.9531 6.3500
6.7469 7.1437 7.5406 7.9375 8.3344 8.7312 9.1281 9.5250 9.9219 10.3187 10.7156 11.1125 11.5094 11.9062 12.3031 12.7000
13.0969 13.4937 13.8906 14.2875 14.6844 15.0812 15.4781 15.8750 16.2719 16.6687 17.0656 17.4625 17.8594 18.2562 18.6531
19.0500 19.4469 19.8438 20.2406 20.6375 21.0344 21.4312 21.8281 22.2250 22.6219 23.0187 23.4156 23.8125 24.2094 24.6062
25.0031
"""

# Common practice for writing inches, no source; the values in mm are exact arithmetic.
WRITTEN = [
    ("23 1/4", 590.55),
    ("23-1/4", 590.55),
    ('3/4"', 19.05),
    ("23.25", 590.55),
    ("23,25 in", 590.55),
    ("18", 457.2),
    ("16 1/2", 419.1),
    (" 1/64 ", 0.396875),
    ('23 1/4"', 590.55),
]


def test_every_64th_of_an_inch_is_what_the_chart_says() -> None:
    read = [read_length(f"{above}/64", Units.INCH) for above in range(1, 64)]
    # Half a unit of the chart's last place, and a little: it rounds some halves down.
    assert read == pytest.approx([float(mm) for mm in CHART_MM.split()], rel=0, abs=0.000_050_001)


@pytest.mark.parametrize(("text", "mm"), WRITTEN)
def test_inches_as_shops_write_them(text: str, mm: float) -> None:
    assert read_length(text, Units.INCH) == mm
