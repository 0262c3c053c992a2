"""The shop's own prices, from a file of its own; without one, no money is spoken of. Also reads the shop's logo."""

from __future__ import annotations

import base64
import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from explain.letters import clean
from explain.papers.typeset import is_picture
from explain.words import phrases, say
from inference.result import Result
from kb.faults import Fault, Faults, nearest
from kb.model import Knowledge
from kb.yamlread import read_yaml

KEYS = ("currency", "note", "work")
LOGO_MOST = 400_000  # bytes
MAGIC = {b"\x89PNG\r\n\x1a\n": "image/png", b"\xff\xd8\xff": "image/jpeg"}


@dataclass(frozen=True)
class Prices:
    """Prices by remedy id, in the shop's currency, and what the shop says of them (tax, validity)."""

    currency: str
    work: dict[str, float]
    note: str = ""

    def bill(self, knowledge: Knowledge, result: Result) -> dict[str, Any]:
        """Return the jobs due with their prices; a job without one says so, and the sum leaves it out."""
        lines, total, missing = [], 0.0, 0
        for step in result.work:
            price = self.work.get(step.remedy)
            total += price or 0.0
            missing += price is None
            told = str(phrases()["letterpage"]["no_price"]) if price is None else self.money(price)
            lines.append({"work": knowledge.remedies[step.remedy].title, "price": told})
        summed = say("letterpage.sum_without", count=missing) if missing else str(phrases()["letterpage"]["sum"])
        return {"lines": lines, "sum": summed, "total": self.money(total), "note": clean(self.note, 200)}

    def money(self, amount: float) -> str:
        """Return an amount as "240.00 EUR"."""
        return f"{amount:,.2f} {self.currency}"


def read_prices(path: Path, knowledge: Knowledge) -> Prices:
    """Read a price file: ``currency:``, ``work:`` with a price for each remedy id, and a ``note:`` if wanted.

    Raises
    ------
    Faults : what is wrong in the file, by line
    """
    document = read_yaml(path)
    data = document.data
    if not isinstance(data, dict):
        raise Faults([Fault(str(path), 1, "", "a price file holds 'currency:' and 'work:'; see the README")])
    faults = []
    for name in map(str, data):
        if name not in KEYS:
            says = f"there is no '{name}' in a price file{nearest(name, KEYS)}"
            faults.append(Fault(str(path), document.line(name), name, says))
    currency, work = data.get("currency"), data.get("work")
    if not isinstance(currency, str) or not 0 < len(clean(currency)) <= 8:
        faults.append(
            Fault(
                str(path),
                document.line("currency"),
                "currency",
                "name the currency in up to eight letters, such as EUR",
            )
        )
    prices: dict[str, float] = {}
    if not isinstance(work, dict):
        says = "list the prices by the id of the work, such as renew-thermostat: 240"
        faults.append(Fault(str(path), document.line("work"), "work", says))
        work = {}
    for remedy, price in work.items():
        line = document.line(f"work.{remedy}")
        if remedy not in knowledge.remedies:
            says = f"there is no work '{remedy}'{nearest(str(remedy), knowledge.remedies)}"
            faults.append(Fault(str(path), line, f"work.{remedy}", says))
        elif isinstance(price, bool) or not isinstance(price, (int, float)) or not math.isfinite(price) or price < 0:
            says = f"'{price}' is no price; write a number such as 240"
            faults.append(Fault(str(path), line, f"work.{remedy}", says))
        else:
            prices[remedy] = float(price)
    if faults:
        raise Faults(faults)
    return Prices(clean(str(currency)), prices, str(data.get("note") or ""))


def read_logo(path: Path) -> bytes:
    """Read a logo: a PNG or JPEG picture.

    Raises
    ------
    Faults : it is none, too large, or cannot be read
    """
    try:
        content = path.read_bytes()
    except OSError as error:
        raise Faults([Fault(str(path), 0, "", f"the logo cannot be read ({error.strerror})")]) from None
    if not any(content.startswith(m) for m in MAGIC):
        raise Faults([Fault(str(path), 0, "", "the logo is neither a PNG nor a JPEG picture")])
    if len(content) > LOGO_MOST:
        says = f"the logo has {len(content) // 1000} kB; at most {LOGO_MOST // 1000} kB go on the page"
        raise Faults([Fault(str(path), 0, "", says)])
    if not is_picture(content):
        raise Faults([Fault(str(path), 0, "", "the logo is damaged; no picture can be drawn from it")])
    return content


def data_uri(content: bytes) -> str:
    """Return a picture as a data address, so that the HTML page needs no other file."""
    kind = next(kind for magic, kind in MAGIC.items() if content.startswith(magic))
    return f"data:{kind};base64,{base64.b64encode(content).decode()}"
