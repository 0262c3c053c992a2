"""Families of trouble codes written out: one :class:`kb.model.Code` for every code a family stands for."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from kb.model import Code, CodeFamily, CodeKind

# What each kind of code says of its subject; "skip" has no code and "itself" needs no more words.
KIND_SAYS: dict[CodeKind, str] = {
    "circuit": "fault in the circuit",
    "range": "reads or works outside what is to be expected of it",
    "low": "circuit reads too low",
    "high": "circuit reads too high",
    "intermittent": "contact comes and goes",
    "slow": "answers too slowly",
    "no signal": "gives no signal",
    "stuck open": "stuck open",
    "stuck closed": "stuck closed",
}


def expand_families(families: Iterable[CodeFamily]) -> Iterator[Code]:
    """Write out every code of every family, in the families' order.

    A code that two families claim comes twice: whoever collects them tells the author.
    """
    for family in families:
        base = 10 if family.digits == "decimal" else 16
        first = int(family.from_code[1:], base)
        for n in range(family.count):
            for place, kind in enumerate(family.kinds):
                if kind != "skip":
                    number = first + n * family.step + place
                    code = family.from_code[0] + (f"{number:04d}" if base == 10 else f"{number:04X}")
                    yield Code(
                        code=code, group=family.group, meaning=_meaning(family.subject, kind, n + 1),
                        role=family.role, source=family.source,
                    )  # fmt: skip


def _meaning(subject: str, kind: CodeKind, n: int) -> str:
    said = subject.replace("{n}", str(n))
    said = said[0].upper() + said[1:]
    return said if kind == "itself" else f"{said}: {KIND_SAYS[kind]}"
