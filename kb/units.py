"""Quantities as people write them ("58 mbar", "0.4 l per 1000 km") turned into numbers in a named unit.

pint does the arithmetic of units. Its import costs most of a second, so the factors of the usual spellings are
worked out once, when the knowledge is compiled, and kept with it (:data:`USUAL`); any other spelling asks pint.
"""

from __future__ import annotations

import re
from functools import lru_cache
from typing import Any

_NUMBER = r"[-+−]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?"
_QUANTITY = re.compile(rf"^\s*(?P<number>{_NUMBER})\s*(?P<unit>[^\d\s].*|1\s*/\s*\S.*)?$")
_COMMA = re.compile(r"^\s*[-+−]?\d+,\d+(?:\s|$|[^\d,.])")

# Spellings worked out when the knowledge is compiled: one row a dimension.
USUAL: tuple[tuple[str, ...], ...] = (
    ("mbar", "hPa", "kPa", "Pa", "bar", "psi", "inH2O", "mmHg", "inHg", "cmH2O", "mmH2O", "MPa"),
    ("°C", "degC", "C", "°F", "degF", "F", "K"),
    ("s", "min", "h", "d", "day", "days", "week", "weeks", "seconds", "minutes", "hours", "hour"),
    ("km", "mi", "mile", "miles", "m"),
    ("km/h", "mph", "m/s"),
    ("l", "L", "liter", "litre", "litres", "liters", "dm³", "cm³", "cc", "ml"),
    ("g", "mg", "kg"),
    ("g/s", "kg/h", "g/h", "kg/s"),
    ("g/l", "g/L", "kg/m³", "kg/m3"),
    ("%", "percent", "1"),
    ("mg/stroke", "mg per stroke", "mm³/stroke"),
    ("l per 1000 km", "l/1000 km", "l/1000km", "ml/km", "l/km"),
    ("1/m", "m⁻¹", "m^-1", "/m"),
    ("1/min", "rpm", "min⁻¹"),
    ("mm", "cm", "in", "inch", "µm"),
    ("V", "mV"),
    ("mg per km", "mg/km", "g/km"),
    ("l/s", "m³/h", "m3/h"),
)

_SPELLED = (
    ("−", "-"), ("°C", "degC"), ("°F", "degF"), (" per ", "/"), ("m⁻¹", "1/m"), ("min⁻¹", "1/min"),
    ("²", "**2"), ("³", "**3"), ("·", "*"), ("litres", "liter"), ("rpm", "1/min"),
)  # fmt: skip


# Other spellings, in small letters, asked for only where the unit as it is written is none. Not here: what could mean
# two things ("mpa" is milli or mega, "deg" Celsius or Fahrenheit).
_SAID = {
    "c": "°C", "°c": "°C", "deg c": "°C", "degrees c": "°C", "degree c": "°C", "celsius": "°C", "degrees celsius": "°C",
    "f": "°F", "°f": "°F", "deg f": "°F", "degrees f": "°F", "fahrenheit": "°F", "degrees fahrenheit": "°F",
    "bar": "bar", "mbar": "mbar", "mb": "mbar", "mbars": "mbar", "bars": "bar", "millibars": "mbar", "kpa": "kPa",
    "hpa": "hPa", "psi": "psi", "inh2o": "inH2O", "mmhg": "mmHg", "km": "km", "kms": "km", "miles": "mi", "mile": "mi",
    "mi": "mi", "v": "V", "volt": "V", "volts": "V", "rpm": "1/min", "r/min": "1/min", "u/min": "1/min",
    "litre": "l", "litres": "l", "liter": "l", "liters": "l", "ccm": "cm³", "pct": "%", "per cent": "%",
    "min": "min", "mins": "min", "minutes": "min", "hours": "h", "h": "h", "g/sec": "g/s", "kmh": "km/h", "kph": "km/h",
}  # fmt: skip
# What pint takes for another unit than a workshop means: "gr" is a grain to it.
_MEANT = {"gr": "g", "gr/s": "g/s", "gr/l": "g/l"}


class UnitError(ValueError):
    """A quantity that cannot be read; the message says what would be right."""


@lru_cache(maxsize=1)
def registry() -> Any:
    """Return the pint registry with the words of the trade added (a stroke is a count)."""
    import pint

    units = pint.UnitRegistry(autoconvert_offset_to_baseunit=True)
    units.define("stroke = 1 * count")
    units.define("thousand_km = 1000 * km")  # oil use is told per 1000 km; pint takes no figure inside a unit
    units.define("inch_H2O_conventional = 249.08891 * pascal = inH2O")
    units.define("mm_H2O_conventional = 9.80665 * pascal = mmH2O")
    return units


_factors: dict[tuple[str, str], tuple[float, float] | None] = {}


def _pint_unit(text: str) -> str:
    text = {"C": "degC", "F": "degF", "1": "dimensionless", "": "dimensionless"}.get(text.strip(), text.strip())
    for spelled, meant in _SPELLED:
        text = text.replace(spelled, meant)
    text = re.sub(r"^/", "1/", text)
    text = re.sub(r"\bm3\b", "m**3", text)
    return re.sub(r"/\s*1000\s*km", "/thousand_km", text)


def factor(unit: str, wanted: str) -> tuple[float, float] | None:
    """Return (scale, offset) with ``wanted = value * scale + offset``, or None if the dimensions differ."""
    unit, wanted = _MEANT.get(unit.strip(), unit.strip()), wanted.strip()
    if unit == wanted:
        return (1.0, 0.0)
    key = (unit, wanted)
    if key not in _factors:
        _factors[key] = _ask_pint(unit, wanted)
    return _factors[key]


def _ask_pint(unit: str, wanted: str) -> tuple[float, float] | None:
    if not re.fullmatch(r"[\w°µ%/·*^⁻¹²³(). −+-]{1,40}", unit):
        return None
    units = registry()
    try:
        # a power or a number inside a unit can be made to cost for ever: only small ones are let through
        if re.search(r"\*\*\s*\d{2,}|\^\s*\d{2,}|\d{5,}", _pint_unit(unit)):
            return None
        source, target = _pint_unit(unit), _pint_unit(wanted)
        offset_units = {"degC", "degF"}
        if source not in offset_units and (1.0 * units.parse_expression(source)).magnitude != 1.0:
            return None  # a second figure, as in "12..5 mbar" or "12 mbar.5", is no part of a unit
        if source in offset_units or target in offset_units:
            zero = float(units.Quantity(0.0, source).to(target).magnitude)
            one = float(units.Quantity(1.0, source).to(target).magnitude)
            return (one - zero, zero)
        return (float((1.0 * units.parse_expression(source)).to(target).magnitude), 0.0)
    except Exception:  # pint raises many kinds for what it cannot read; each means: not this unit
        return None


def usual_factors() -> dict[tuple[str, str], tuple[float, float] | None]:
    """Work out the factor of every usual spelling to every other of its row (slow: asks pint)."""
    return {(a, b): factor(a, b) for row in USUAL for a in row for b in row if a != b}


def remember(factors: dict[tuple[str, str], tuple[float, float] | None]) -> None:
    """Take factors worked out earlier, so that pint need not be imported."""
    _factors.update(factors)


@lru_cache(maxsize=1024)
def difference(text: str, unit: str) -> float:
    """Read a difference, such as an instrument's error, in ``unit``: "2 °C" of error is 2, whatever the zero of °C."""
    if unit in ("°C", "K"):
        figure, _, written = text.strip().partition(" ")
        if written.strip() in ("°C", "K"):
            return float(figure)
    return number(text, unit)


def number(value: object, unit: str) -> float:
    """Read a quantity as people write it and return it in ``unit``.

    Parameters
    ----------
    value : text such as "58 mbar", or a bare number where ``unit`` is "1" (no unit)
    unit : the unit wanted; "1" for none

    Raises
    ------
    UnitError : no number, a decimal comma, a missing unit, or a unit of another dimension
    """
    if isinstance(value, bool) or not isinstance(value, (int, float, str)):
        raise UnitError(f"{value!r} is no quantity; write a number with its unit, such as '12 {unit}'")
    if isinstance(value, (int, float)):
        if unit == "1":
            return float(value)
        raise UnitError(f"{value!r} has no unit; write for example '{value} {unit}'")
    if _COMMA.match(value):
        pointed = value.strip().replace(",", ".", 1)
        whole = value.strip().replace(",", "", 1) if re.match(r"^\s*[-+−]?\d{1,3},\d{3}\b", value) else ""
        meant = f" ('{whole}' if the comma parts thousands)" if whole else ""
        raise UnitError(f"'{value}' has a decimal comma; write '{pointed}'{meant}")
    match = _QUANTITY.match(value)
    if match is None:
        raise UnitError(f"'{value}' is no quantity; write a number and a unit, such as '12 {unit}'")
    figure = float(match["number"].replace("−", "-"))
    spelled = (match["unit"] or "").strip()
    if not spelled:
        if unit == "1":
            return figure
        raise UnitError(f"'{value}' has no unit; write for example '{figure:g} {unit}'")
    if re.match(r"[-–−]\s*[\d.]", spelled):
        raise UnitError(f"'{value}' reads like a range; write the one figure read, such as '{figure:g} {unit}'")
    found = factor(spelled, unit)
    if found is None and (other := _SAID.get(spelled.lower())) is not None:
        found = factor(other, unit)
    if found is None:
        wanted = "a bare number" if unit == "1" else f"a unit such as {unit}"
        raise UnitError(f"'{value}': the unit '{spelled}' does not fit here; {wanted} would be right")
    out = figure * found[0] + found[1]
    if not abs(out) < 1e15:
        raise UnitError(f"'{value}' is too large to be a measurement")
    return float(f"{out:.12g}")  # 0.058 bar is 58 mbar, not 58.00000000000001
