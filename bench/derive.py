"""How long one round takes from readings to derived readings, warm; prints milliseconds, asserts nothing."""

from __future__ import annotations

import statistics
import time
from dataclasses import dataclass, field
from datetime import date

from bench.pressures import Vehicle, readings
from inference.derive import EventView, RoundView, derive
from kb.load import load


@dataclass(frozen=True)
class Round:
    """A round made of numbers alone."""

    numbers: dict[str, float]
    index: int = 0
    when: str = "arrival"
    date: date | None = None
    odometer_km: float | None = 148_000.0

    def number(self, slot: str) -> float | None:
        return self.numbers.get(slot)

    def answer(self, name: str) -> str | None:
        return None


@dataclass(frozen=True)
class Case:
    """A 2.0 l vehicle with a coated filter whose size is not known."""

    rounds: list[RoundView]
    engine_litres: float | None = 2.0
    odometer_km: float | None = None
    filter_type: str | None = "coated"
    substrate: str | None = "silicon carbide"
    layout: str | None = "differential_pressure_two_temperatures"
    volume_l: float | None = None
    diameter_mm: float | None = None
    length_mm: float | None = None
    cells_per_square_inch: float | None = None
    wall_mm: float | None = None
    burn_limit_g_l: float | None = None
    fitted_at_km: float | None = 0.0
    fitted: date | None = None
    history: list[EventView] = field(default_factory=list)


def main(repeats: int = 200) -> None:
    """Print the median and the fastest time of one fully read round."""
    shown = readings(Vehicle(2.0, soot=6.0, ash=8.0))
    numbers = {f"{name}.{condition}": v for name, values in shown.items() for condition, v in values.items()}
    knowledge, case = load(), Case([Round(numbers)])
    derive(case, knowledge)
    taken = []
    for _ in range(repeats):
        start = time.perf_counter()
        found = derive(case, knowledge)
        taken.append((time.perf_counter() - start) * 1e3)
    print(f"{len(found[0])} derived readings: median {statistics.median(taken):.2f} ms, best {min(taken):.2f} ms")


if __name__ == "__main__":
    main()
