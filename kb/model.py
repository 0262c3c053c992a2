"""The typed model of the knowledge files: one class per kind of entry, one entry per YAML list item.

Every id is unique across readings, derived readings, questions, findings, causes and codes, so that a rule's
example can name any of them without saying its kind. Words of frequency stand for numbers in :data:`WORDS`.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cached_property
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, model_validator

from kb.units import difference

# The seven words and what they mean; never 0 or 1, so that no evidence can be final by accident.
WORDS: dict[str, float] = {
    "always": 0.98,
    "nearly always": 0.90,
    "often": 0.70,
    "half": 0.50,
    "sometimes": 0.25,
    "seldom": 0.08,
    "hardly ever": 0.02,
}


def _chance(value: Any) -> Any:
    if isinstance(value, str):
        if value in WORDS:
            return WORDS[value]
        raise ValueError(f"'{value}' is no frequency; take one of {', '.join(WORDS)} or a number")
    if isinstance(value, (int, float)) and not isinstance(value, bool):
        if 0 < value < 1:
            return float(value)
        raise ValueError(f"{value} is no frequency between 0 and 1; neither end is allowed")
    return value


Chance = Annotated[float, BeforeValidator(_chance)]
Name = Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]*$")]
Slug = Annotated[str, Field(pattern=r"^[a-z][a-z0-9-]*$")]
Text = Annotated[str, Field(min_length=3)]
Condition = Literal["cold_soak", "key_on", "idle", "fast_idle", "full_load", "road", "burn", "now"]
Life = Literal["round", "until work on it", "lasting"]


class Entry(BaseModel):
    """Base of every entry: frozen, and an unknown key is a fault."""

    # schemas are built when an entry is first checked: knowledge from the cache needs none, and starts sooner
    model_config = ConfigDict(extra="forbid", frozen=True, defer_build=True)


class Source(Entry):
    """Where a figure or fact comes from. ``read`` says whether its text was read for this project."""

    id: Slug
    kind: Literal["standard", "paper", "handbook", "regulation", "open data", "common practice", "from memory"]
    title: Text
    by: str = ""
    year: int | None = None
    where: str = ""
    read: Literal["whole", "abstract", "excerpt", "no"] = "no"
    note: str = ""


class Range(Entry):
    """A closed range in the entry's unit, written as two quantities."""

    low: str
    high: str


class Reading(Entry):
    """A number a person can measure or read off, at named conditions (none: written bare).

    ``error`` is one standard instrument error (absolute, as a quantity), ``error_share`` the same as a share of
    the reading; the larger counts. ``possible`` bounds what physics allows (else a fault), ``usual`` what is
    normally met (else a warning), by condition or under ``any``.
    """

    id: Name
    title: Text
    group: Literal["pressure", "heat", "air", "fuel and oil", "control unit", "usage"]
    unit: str
    conditions: list[Condition] = []
    possible: Range
    usual: dict[str, Range] = {}
    error: str
    error_share: float = Field(0.0, ge=0, lt=1)
    life: Life = "round"
    how: Text
    instrument: str = ""
    minutes: float = Field(ge=0)
    hazard: Slug | None = None  # a caution
    source: Slug

    def error_at(self, value: float) -> float:
        """Return one standard error of the instrument at a reading, both in the reading's unit."""
        return max(difference(self.error, self.unit), self.error_share * abs(value))


class Derived(Entry):
    """A number computed from readings; the formula stands in words, the code in inference/physics.

    ``valid`` says where the formula may be used. Slots are written ``id.condition`` like readings.
    """

    id: Name
    title: Text
    unit: str
    conditions: list[Condition] = []
    formula: Text
    inputs: list[str]
    valid: Text
    source: Slug
    says: str = ""  # one sentence for the chain, with {low} {mid} {high} {unit}
    tells: bool = False  # its notes say how this one figure came about, and are shown with the formula


class Question(Entry):
    """Something a person answers by looking, asking or trying; unknown unless answered."""

    id: Name
    text: Text
    group: Literal["safe to work", "seen and heard", "asked of the driver", "history", "tried on the part"]
    options: list[str] = ["yes", "no"]
    how: Text
    why: Text
    life: Life = "round"
    minutes: float = Field(ge=0)
    hazard: Slug | None = None
    source: Slug = "common-practice"


Role = Literal["reports load", "steers the burn", "harm", "inhibits", "none"]


class CodeGroup(Entry):
    """Codes that say the same of the same system; rules name the group.

    ``role`` is what a stored code of this group means for a burn; ``monitor`` what must have run before its
    absence says anything.
    """

    id: Name
    title: Text
    role: Role
    monitor: Text
    points_at: list[str] = []  # causes, and jobs that belong to none: whoever has done one has worked on it
    does_not_prove: Text
    source: Slug = "from-memory"


class Code(Entry):
    """One standard trouble code (SAE J2012 / ISO 15031-6 form) in our own words."""

    code: Annotated[str, Field(pattern=r"^[PBCU][0-3][0-9A-F]{3}$")]
    group: Name
    meaning: Text
    role: Role | None = None  # where it differs from its group's
    source: Slug = "from-memory"


CodeKind = Literal[
    "circuit", "range", "low", "high", "intermittent", "slow", "no signal", "stuck open", "stuck closed",
    "itself", "skip",
]  # fmt: skip


class CodeFamily(Entry):
    """A run of codes about one subject that differ only in what was seen of it (circuit, range, low ...).

    The codes are numbered on from ``from``, one for each of ``kinds``; ``skip`` leaves a number out,
    ``itself`` is the subject alone. With ``count`` the run is repeated that often, ``step`` numbers apart,
    and ``{n}`` in the subject counts 1, 2, 3 (cylinders). ``digits`` says how the numbers carry on after 9:
    older codes count in tens, newer ones in sixteens. Expanded by :func:`kb.codes.expand_families`.
    """

    from_code: Annotated[str, Field(pattern=r"^[PBCU][0-3][0-9A-F]{3}$", alias="from")]
    group: Name
    subject: Text
    kinds: list[CodeKind] = Field(min_length=1)
    count: int = Field(1, ge=1)
    step: int = Field(1, ge=1)
    digits: Literal["decimal", "hex"] = "decimal"
    role: Role | None = None
    source: Slug = "from-memory"

    @model_validator(mode="after")
    def _numbered_rightly(self) -> CodeFamily:
        if self.digits == "decimal" and not self.from_code[1:].isdecimal():
            raise ValueError(f"'{self.from_code}' has a letter among its figures; write 'digits: hex'")
        if (self.count > 1) != ("{n}" in self.subject):
            raise ValueError("'count' and '{n}' in the subject go together; write both or neither")
        if self.count > 1 and self.step < len(self.kinds):
            raise ValueError(f"the step {self.step} is shorter than the run of {len(self.kinds)} kinds")
        return self


class Lasting(Entry):
    """What ends a finding that tells of a lasting defect: until then it stands for the decision in later rounds.

    ``ends`` names the work that does: causes whose repair, jobs (remedies) or events of the history. A new look that
    says otherwise ends it too, unless it is an ``event``, something that has happened and that a milder day does not
    undo. ``looked_at`` are findings that settle it once they are known either way. One that rests on trouble codes
    (``by_codes``) is ended as well once every code that was stored has had its work: a cause that its group points at.
    """

    ends: list[str]
    looked_at: list[Name] = []
    event: bool = False
    by_codes: bool = False


class Finding(Entry):
    """A named statement about the case in one round.

    ``title`` is the sentence when it holds, ``fails`` when it is known not to. ``leak`` is how often it is seen
    with none of the causes there. Findings of one ``group`` come from one instrument or one underlying state and
    vote once; the highest ``rank`` that holds speaks for the group. A ``lasting`` one tells of a defect that does not
    heal by itself: once it holds it stands for the decision, see :class:`Lasting`.
    """

    id: Name
    title: Text
    fails: Text
    means: Text
    system: Literal[
        "pressure", "heat", "air", "fuel", "oil", "additive", "filter", "control", "usage", "history", "gate"
    ]
    stage: Literal["find", "decide"] = "find"
    leak: Chance | None = None
    leak_source: Slug = "from-memory"
    group: Name | None = None
    rank: int = 0
    lasting: Lasting | None = None


class Shows(Entry):
    """This cause ALONE shows the finding this often (the net form of the noisy-OR)."""

    finding: Name
    how_often: Chance
    source: Slug = "from-memory"


class Weighs(Entry):
    """Private evidence on one cause: how often the finding holds with it and without it."""

    finding: Name
    with_it: Chance
    without_it: Chance
    source: Slug = "from-memory"

    @model_validator(mode="after")
    def _within_30_db(self) -> Weighs:
        for ratio in (self.with_it / self.without_it, (1 - self.with_it) / (1 - self.without_it)):
            if not 1e-3 <= ratio <= 1e3:
                raise ValueError("the likelihood ratio is beyond 30 dB; write a proof or a veto instead")
        return self


class Proof(Entry):
    """The finding in this state settles the cause: ``present`` conditions on it, ``absent`` rules it out."""

    finding: Name
    state: Literal["holds", "fails"]
    shows_it: Literal["present", "absent"]


class Customer(Entry):
    """Plain words for the owner of the vehicle; no blame, no promise, no term of the trade unexplained.

    ``left`` says what may come of it, to follow "If this is left, ".
    """

    what: Text
    why: Text
    do: Text
    left: Text


class Prior(Entry):
    """How often the cause is there in vehicles of the trade at large (the complaint is evidence, not prior)."""

    p: Chance
    source: Slug
    author: str
    date: str


class Brings(Entry):
    """A consequence: this cause brings another one about so often (given that it has been there a while)."""

    cause: Name
    how_often: Chance
    how: Text


class HoldsBurn(Entry):
    """Why a burn must wait while this cause is likely: it would endanger the burn or at once refill the filter."""

    why: Text


class Cause(Entry):
    """A root cause of repeated blocking."""

    id: Name
    title: Text
    system: Literal[
        "usage", "pressure sensing", "temperature sensing", "heat", "air", "fuel", "oil and coolant", "additive",
        "filter and exhaust", "control",
    ]  # fmt: skip
    kind: Literal["habit", "part", "fluid", "setting"]
    prior: Prior
    mechanism: Text
    leads_to: list[Text] = Field(min_length=1)  # the chain from the cause to a full filter, link by link
    shows: list[Shows] = Field(min_length=1)
    weighs: list[Weighs] = []
    proofs: list[Proof] = []
    brings: list[Brings] = []
    also_seen: str = ""  # what is seen in any case, so proves nothing
    damages: Text
    if_ignored: Text
    comes_back: Text
    holds_burn: HoldsBurn | None = None
    only_types: list[str] = []  # filter types on which the cause can exist at all; empty: any
    remedy: Slug
    tests: list[Slug] = Field(min_length=1)
    customer: Customer


class Test(Entry):
    """One condition of a rule, over one thing. Exactly one subject and one comparison."""

    reading: str | None = None
    answer: Name | None = None
    code: str | None = None
    codes: Name | None = None  # a code group, or role_harm / role_inhibits / role_steers_the_burn / ...
    finding: Name | None = None
    cause: Name | None = None
    filter: Literal["type", "substrate"] | None = None
    layout: Literal["pressure", "temperatures"] | None = None
    above: str | None = None
    below: str | None = None
    at_least: str | None = None
    at_most: str | None = None
    between: list[str] | None = None
    is_: str | None = Field(None, alias="is")
    one_of: list[str] | None = None
    source: Slug | None = None  # of the limit, where it differs from the rule's

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True, defer_build=True)


class When(Entry):
    """``all`` and ``any`` need known-true; ``none`` known-false of each; ``unless`` only stops on known-true."""

    all: list[Test] = []
    any: list[Test] = []
    none: list[Test] = []
    unless: list[Test] = []


class Then(Entry):
    """What the rule concludes, once: a finding (with how far it is to be trusted), or a caution to show."""

    finding: Name | None = None
    state: Literal["holds", "fails"] = "holds"
    trust: Chance | None = None
    caution: Slug | None = None


class Examples(Entry):
    """Facts under which the rule must fire, must stay quiet, and sits on its boundary (stays quiet)."""

    fires: list[dict[str, Any]] = Field(min_length=1)
    quiet: list[dict[str, Any]] = Field(min_length=1)
    boundary: list[dict[str, Any]] = []


class Rule(Entry):
    """One piece of know-how: when it applies, what it concludes and why it may be believed."""

    id: Slug
    title: Text
    when: When
    then: Then
    because: Text
    source: Slug
    status: Literal["on-trial", "in-use", "retired"]
    since: str
    examples: Examples


class Outcome(Entry):
    """What one outcome of a test means: the answers or readings it fills in, and the finding it settles."""

    sees: Text
    means: Text
    finding: Name | None = None
    state: Literal["holds", "fails"] = "holds"


class ServiceTest(Entry):
    """Something a technician can do that settles a finding."""

    id: Slug
    title: Text
    settles: list[Name] = Field(min_length=1)  # findings
    gives: list[str] = Field(min_length=1)  # the readings or answers to write into the case
    steps: list[Text] = Field(min_length=1)
    tools: list[str] = []
    minutes: float = Field(gt=0)
    set_up: str = ""  # a name shared by tests that need the same preparation
    set_up_minutes: float = Field(0, ge=0)
    cost: Literal["none", "small", "medium", "large"] = "none"
    hazards: list[Slug] = []  # cautions
    outcomes: list[Outcome] = Field(min_length=2)
    source: Slug


class Remedy(Entry):
    """The work that removes a cause, where it stands in the order of work, and what proves that it held."""

    id: Slug
    title: Text
    steps: list[Text] = Field(min_length=1)
    place: Literal["before the burn", "the burn", "after the burn", "reset", "proof", "instead of a burn"]
    after: list[Slug] = []  # remedies that must be done first if both are due
    also: list[Slug] = []  # remedies this one brings with it
    spared_by: list[Slug] = []  # remedies that, done before it, leave nothing for it to do if they held
    covers: list[Slug] = []  # remedies that are the same work: where both are due it is done once, as this one
    minutes: float = Field(gt=0)
    parts: Literal["none", "small", "medium", "large"]
    hazards: list[Slug] = []
    proof: Text  # what shows that it held
    proof_findings: list[Proof] = []  # findings after the work that prove it
    source: Slug


class Caution(Entry):
    """A danger and what to do about it."""

    id: Slug
    title: Text
    says: Text
    rank: int = Field(ge=1, le=5)  # 1 shown first
    source: Slug


class FilterType(Entry):
    """A kind of filter. ``burn_inlet`` is the gas temperature before it that a burn needs."""

    id: Name
    title: Text
    burn_inlet: Range
    uses_additive: bool
    catalysed: bool
    note: Text
    source: Slug


class Joint(Entry):
    """The joints between the segments of a body: how thick, and what shear they bear before they tear."""

    thickness: str
    shear: str


class Solid(Entry):
    """What decides whether a body cracks: of the honeycomb as it stands, not of its dense material.

    A brittle body has a ``strength`` (modulus of rupture), one that yields a ``stretch`` that it bears.
    """

    strength: str | None = None
    stretch: str | None = None
    stiffness: str  # Young's modulus
    expansion: str  # coefficient of linear expansion where the differences lie, 500 to 900 °C
    poisson: float = Field(ge=0.0, lt=0.5)
    width: str  # of one piece
    joint: Joint | None = None
    note: Text
    source: Slug

    @model_validator(mode="after")
    def _one_way_to_break(self) -> Solid:
        if (self.strength is None) == (self.stretch is None):
            raise ValueError("either strength (a brittle body) or stretch (one that yields) must be given, not both")
        return self


class Substrate(Entry):
    """What the filter body is made of, and the soot it may hold when a burn is begun (g per litre)."""

    id: Text
    safe_soot: Range  # what such bodies are designed to hold: the check and the cap of what the burn model allows
    ceiling: str
    heat_capacity: str
    bulk_density: str
    solid: Solid
    note: Text
    source: Slug


class Layout(Entry):
    """Which sensors stand where, and what they can and cannot see."""

    id: Name
    title: Text
    pressure: Literal["differential", "absolute_pair", "gauge_upstream"]
    temperatures: int = Field(ge=0, le=4)
    sees: Text
    blind_to: Text


class GateNeed(Entry):
    """Something that must be known and good before a burn is clear; ``minutes`` orders what is said first.

    ``set_up`` marks what is met by standing the vehicle safely: looked after when the burn is lit, not found out.
    ``work`` is the job due while the need is known not to be met, beside the repair of what is behind it.
    """

    finding: Name
    state: Literal["holds", "fails"] = "holds"
    say_missing: Text
    say_not_met: Text
    minutes: float = Field(ge=0)
    set_up: bool = False
    work: Slug | None = None


class GateDanger(Entry):
    """A finding that forbids a burn while it holds.

    ``futile`` marks a burn that cannot help. ``work`` is the job (a remedy) that must be done before any burn, where
    it belongs to no cause.
    """

    finding: Name
    say: Text
    instead: Text
    futile: bool = False
    work: Slug | None = None


class GateDoubt(Entry):
    """A finding that, while it holds, makes the readings the decision rests on uncertain: measure again."""

    finding: Name
    say: Text
    minutes: float = Field(ge=0)


class Driving(Entry):
    """Whether the vehicle may be driven meanwhile: the first entry whose finding holds is said."""

    finding: Name | None = None
    say: Text


class Gate(Entry):
    """The decision on a forced regeneration: dangers, when it is not needed, and all that clear needs."""

    dangers: list[GateDanger] = Field(min_length=1)
    not_needed: Name
    doubts: list[GateDoubt]
    needs: list[GateNeed] = Field(min_length=1)
    watch: list[Text]
    stop_at: list[Text]
    after: list[Text]
    driving: list[Driving] = Field(min_length=1)

    @property
    def set_up(self) -> frozenset[str]:
        """The findings of the needs that are met by standing the vehicle safely."""
        return frozenset(need.finding for need in self.needs if need.set_up)


class Plan(Entry):
    """What work costs when it is put in order, in minutes of labour; see kb/plan.yaml.

    ``care`` goes by the rank of the worst caution of a job, ``least`` [-] is the probability below which a cause is
    not planned for by itself.
    """

    parts: dict[Literal["none", "small", "medium", "large"], str]
    tests: dict[Literal["none", "small", "medium", "large"], str]
    care: dict[int, str]
    check: str
    repair_holds: Chance
    noticed: Chance
    comeback: str
    seen_later: list[Slug]  # remedies after which only weeks show whether something else is left
    refer: str
    least: Chance
    worth: str
    needs_a_burn: list[Slug]  # tests
    driving: Slug  # the caution of tests that are driven
    hard_driving: list[Slug]  # tests
    source: Slug


Three = Annotated[list[float], Field(min_length=3, max_length=3)]  # 10, 50 and 90 % points


class Effect(Entry):
    """What a cause (its id) does to the balance of soot while it is there, and what changes in the usage without it.

    ``soot`` multiplies the engine's soot, ``warm_up`` the time to get warm, ``ash`` the ash; ``allowed`` is the share
    of trips on which the control unit lets a burn begin, ``finished`` the share of begun burns that nobody breaks off,
    ``heat`` the kelvin missing before the filter in a burn, ``burning`` multiplies the speed of the burn, ``room``
    is the share of the room for soot that is left, ``told`` the share of it at which a full filter is reported.
    """

    id: Name
    soot: Three | None = None
    warm_up: Three | None = None
    allowed: Three | None = None
    finished: Three | None = None
    heat: Three | None = None
    burning: Three | None = None
    room: Three | None = None
    told: Three | None = None
    ash: Three | None = None
    without: dict[Literal["long_run_per_month", "idle_share"], float] = {}
    note: Text
    source: Slug

    @model_validator(mode="after")
    def _in_order(self) -> Effect:
        for name in ("soot", "warm_up", "allowed", "finished", "heat", "burning", "room", "told", "ash"):
            three = getattr(self, name)
            if three is not None and not 0 <= three[0] <= three[1] <= three[2]:
                raise ValueError(f"{name}: three figures from the least to the most are wanted, none below 0")
            if three is not None and name in ("allowed", "finished", "room", "told") and three[2] > 1:
                raise ValueError(f"{name} is a share and cannot pass 1")
        return self


class Knowledge(BaseModel):
    """All of it, keyed by id; made by :func:`kb.load.load`."""

    model_config = ConfigDict(frozen=True, defer_build=True)

    sources: dict[str, Source]
    readings: dict[str, Reading]
    derived: dict[str, Derived]
    questions: dict[str, Question]
    code_groups: dict[str, CodeGroup]
    codes: dict[str, Code]
    findings: dict[str, Finding]
    causes: dict[str, Cause]
    rules: dict[str, Rule]
    tests: dict[str, ServiceTest]
    remedies: dict[str, Remedy]
    cautions: dict[str, Caution]
    filter_types: dict[str, FilterType]
    substrates: dict[str, Substrate]
    layouts: dict[str, Layout]
    effects: dict[str, Effect]
    gate: Gate
    plan: Plan
    places: dict[str, str]  # "rules/heat.yaml:12" by "rule:engine-never-gets-warm"
    hash: str

    @cached_property
    def usage_figures(self) -> dict[str, Reading]:
        """How the vehicle is driven: the readings that belong to the whole case."""
        return {id_: reading for id_, reading in self.readings.items() if reading.group == "usage"}

    @cached_property
    def round_readings(self) -> dict[str, Reading]:
        """What is read in a round of the case."""
        return {id_: reading for id_, reading in self.readings.items() if reading.group != "usage"}

    def model_copy(self, *, update: Mapping[str, Any] | None = None, deep: bool = False) -> Knowledge:
        """Return a copy; what is kept of the readings is worked out again, since it may be given others."""
        made = super().model_copy(update=update, deep=deep)
        for name in ("usage_figures", "round_readings"):
            made.__dict__.pop(name, None)
        return made

    def role_of(self, code: str) -> Role | None:
        """Return what a stored code means for a burn: by itself, else by its group; None for a code not known here."""
        known = self.codes.get(code)
        return None if known is None else known.role or self.code_groups[known.group].role
