"""Small invented cases with clear-cut answers for the tests of the questions; no figure in them lies near a limit."""

from __future__ import annotations

from inference.case import Case
from inference.read_case import parse_case
from kb.model import Knowledge

COLD = """
case: cold-van
vehicle: {engine_litres: 2.0, odometer: 96000 km}
filter: {type: coated, substrate: silicon carbide, fitted_at: 0 km}
layout: differential_pressure_two_temperatures
rounds:
  - when: arrival
    odometer: 96000 km
    readings:
      coolant_temperature: {road: 64 °C}
      fuel_level: 60 %
      oil_level: 70 %
    answers: {bonnet_closed: yes, fluid_leaks_seen: no, blue_smoke: no}
    codes: [P2463]
"""

LEAKING = """
case: leaking-van
vehicle: {engine_litres: 2.0}
rounds:
  - readings: {oil_level: 60 %}
    answers: {injector_leak_found: yes, blue_smoke: no, bonnet_closed: yes}
"""


def case_of(text: str, knowledge: Knowledge) -> Case:
    """Read one of the cases above."""
    return parse_case(text.encode(), "invented.yaml", knowledge)
