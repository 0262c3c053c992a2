"""Quantities as people write them, and what is said of those that cannot be read."""

import pytest

from kb.units import UnitError, number, registry, usual_factors


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("58 mbar", "mbar", 58),
        ("0.058 bar", "mbar", 58),
        ("5.8 kPa", "mbar", 58),
        ("167 °F", "°C", 75),
        ("348.15 K", "°C", 75),
        ("−3 °C", "°C", -3),
        ("0.4 l per 1000 km", "l per 1000 km", 0.4),
        ("0.4 l/1000 km", "l per 1000 km", 0.4),
        ("3 mg per stroke", "mg/stroke", 3),
        ("72 %", "%", 72),
        ("5 1/m", "1/m", 5),
        ("24 h", "min", 1440),
        ("750 rpm", "1/min", 750),
        ("1998 cm³", "l", 1.998),
        ("1.9 Bar", "mbar", 1900),
        ("58 MBAR", "mbar", 58),
        ("58 mb", "mbar", 58),
        ("5.8 kpa", "mbar", 58),
        ("14.2 Volts", "V", 14.2),
        ("14.2v", "V", 14.2),
        ("88 c", "°C", 88),
        ("190.4 deg F", "°C", 88),
        ("2500 RPM", "1/min", 2500),
        ("12 kms", "km", 12),
        ("30 gr/s", "g/s", 30),  # grams; to pint a grain
        (1.4, "1", 1.4),
        ("1.4", "1", 1.4),
    ],
)
def test_is_understood(text: object, unit: str, value: float) -> None:
    assert number(text, unit) == pytest.approx(value, rel=1e-9)


@pytest.mark.parametrize(
    ("text", "unit", "says"),
    [
        (58, "mbar", "has no unit; write for example '58 mbar'"),
        ("58", "mbar", "has no unit"),
        ("3,5 mbar", "mbar", "write '3.5 mbar'"),
        ("148,000 km", "km", "148000 km"),
        ("8 kg", "mbar", "the unit 'kg' does not fit here; a unit such as mbar"),
        ("warm", "°C", "is no quantity"),
        ("55-60 mbar", "mbar", "reads like a range; write the one figure read"),
        ("8 – 9 mbar", "mbar", "reads like a range"),
        ("88 deg", "°C", "does not fit"),  # Celsius or Fahrenheit is not known
        ("6 mPA", "mbar", "does not fit"),  # milli or mega is not known
        ("nan °C", "°C", "is no quantity"),
        ("1e400 mbar", "mbar", "too large"),
        ("5 mbar**99999999", "mbar", "does not fit"),
        (True, "1", "is no quantity"),
        (None, "1", "is no quantity"),
        ([1], "mbar", "is no quantity"),
        ("3 mbar", "1", "a bare number would be right"),
    ],
)
def test_is_refused_in_words(text: object, unit: str, says: str) -> None:
    with pytest.raises(UnitError) as found:
        number(text, unit)
    assert says in str(found.value)


def test_the_kept_factors_are_pints_own() -> None:
    """The table that spares the import of pint holds what pint says, worked out by its own conversion."""
    units = registry()
    for unit, wanted, value in (("psi", "mbar", 2.0), ("inHg", "kPa", 29.92), ("mph", "km/h", 60.0)):
        scale, offset = usual_factors()[(unit, wanted)] or (0.0, 0.0)
        assert value * scale + offset == pytest.approx(units.Quantity(value, unit).to(wanted).magnitude)


@pytest.mark.parametrize(
    "text", ["12..5 mbar", "12 .5 mbar", "1.2.3 mbar", "1/2 mbar", "12 mbar.5", "12 mbar*2", "12 mbar/2", "12 mbar 2"]
)
def test_two_figures_are_not_multiplied_into_one(text: str) -> None:
    with pytest.raises(UnitError, match="does not fit"):
        number(text, "mbar")


def test_a_figure_that_belongs_to_the_unit_is_read() -> None:
    assert number("850 1/min", "1/min") == 850.0
    assert number("850 /min", "1/min") == 850.0
    assert number("0.4 l/1000 km", "l per 1000 km") == 0.4
