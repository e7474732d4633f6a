"""The facts of one job, as frozen pydantic models, with the closed vocabularies of the draft's data."""

from __future__ import annotations

from enum import StrEnum

from pydantic import BaseModel, ConfigDict, Field


class Quantity(StrEnum):
    """What kind of thing a figure measures."""

    VOLTAGE = "voltage"
    CURRENT = "current"
    CAPACITANCE = "capacitance"
    RESISTANCE = "resistance"
    POWER = "power"
    FREQUENCY = "frequency"
    TEMPERATURE = "temperature"
    TEMPERATURE_DIFFERENCE = "temperature_difference"
    PRESSURE = "pressure"
    MASS = "mass"
    DURATION = "duration"
    FLOW = "flow"
    HUMIDITY = "humidity"
    CONCENTRATION = "concentration"
    SPEED = "speed"
    VELOCITY = "velocity"
    VOLUME = "volume"
    LENGTH = "length"
    PERCENTAGE = "percentage"
    ACIDITY = "acidity"
    COUNT = "count"


class Role(StrEnum):
    """Who vouches for a figure: an instrument, a plate, a control's setting, or a rule of thumb."""

    MEASURED = "measured"
    RATED = "rated"
    SETPOINT = "setpoint"
    EXPECTED = "expected"


class Stage(StrEnum):
    """Before or after the repair."""

    AS_FOUND = "as_found"
    AS_LEFT = "as_left"


class Rating(StrEnum):
    """Which rated figure of a plate."""

    RLA = "RLA"
    FLA = "FLA"
    LRA = "LRA"
    MCA = "MCA"
    MOCP = "MOCP"
    MAX = "max"
    MIN = "min"


class Qualifier(StrEnum):
    """How a figure was said or taken."""

    APPROXIMATE = "approximate"
    AT_LEAST = "at_least"
    AT_MOST = "at_most"
    INRUSH = "inrush"
    LOCKED_ROTOR = "locked_rotor"
    PEAK = "peak"
    MINIMUM = "minimum"
    STANDBY = "standby"
    NEGATIVE_IS_VACUUM = "negative_is_vacuum"
    ABSOLUTE = "absolute"


class Condition(StrEnum):
    """The state in which a component was found."""

    NORMAL = "normal"
    DIRTY = "dirty"
    CLOGGED = "clogged"
    BURNT = "burnt"
    OVERHEATED = "overheated"
    LEAKING = "leaking"
    OIL_STAINED = "oil_stained"
    WORN = "worn"
    LOOSE = "loose"
    CORRODED = "corroded"
    SEIZED = "seized"
    OPEN = "open"
    SHORTED = "shorted"
    GROUNDED = "grounded"
    WEAK = "weak"
    FAILED = "failed"
    MISSING = "missing"
    DAMAGED = "damaged"
    ICED = "iced"
    NOISY = "noisy"
    VIBRATING = "vibrating"
    WET = "wet"
    UNDERCHARGED = "undercharged"
    OVERCHARGED = "overcharged"
    NO_POWER = "no_power"
    NOT_RUNNING = "not_running"
    SHORT_CYCLING = "short_cycling"
    RUNNING = "running"
    WARM = "warm"
    COLD = "cold"
    MISADJUSTED = "misadjusted"
    WRONG_PART = "wrong_part"
    TRIPPED = "tripped"
    OLD = "old"


class FindingStatus(StrEnum):
    """How sure the speaker was."""

    OBSERVED = "observed"
    SUSPECTED = "suspected"
    RULED_OUT = "ruled_out"


class ActionKind(StrEnum):
    """What was done to a component."""

    REPLACED = "replaced"
    INSTALLED = "installed"
    REMOVED = "removed"
    REPAIRED = "repaired"
    BYPASSED = "bypassed"
    CLEANED = "cleaned"
    ADJUSTED = "adjusted"
    SET = "set"
    TIGHTENED = "tightened"
    REWIRED = "rewired"
    RESET = "reset"
    LUBRICATED = "lubricated"
    DEFROSTED = "defrosted"
    CHARGED = "charged"
    RECOVERED = "recovered"
    EVACUATED = "evacuated"
    LEAK_TESTED = "leak_tested"
    PRESSURE_TESTED = "pressure_tested"
    INSPECTED = "inspected"
    TESTED = "tested"
    STARTED = "started"
    SHUT_DOWN = "shut_down"
    ADVISED = "advised"
    ORDERED = "ordered"


class ActionStatus(StrEnum):
    """Whether the work is done, the speaker's plan, or the customer's decision."""

    DONE = "done"
    PLANNED = "planned"
    RECOMMENDED = "recommended"


class PartStatus(StrEnum):
    """Where a part stands."""

    USED = "used"
    TO_ORDER = "to_order"
    ON_HAND = "on_hand"


class UnplacedReason(StrEnum):
    """Why a spoken figure is no reading of this job."""

    EARLIER_VISIT = "earlier visit"
    SAID_BY_OTHERS = "said by others"
    NOT_THIS_JOB = "not this job"
    IDENTIFIER = "identifier"
    CLOCK_OR_DATE = "clock or date"
    COUNT_OF_THINGS = "count of things"
    MONEY = "money"
    ADDRESS = "address"
    AGE = "age"
    FIGURE_OF_SPEECH = "figure of speech"
    NO_SUBJECT = "no subject"
    NO_UNIT = "no unit"
    UNCLEAR = "unclear"


class Frozen(BaseModel):
    """Base of every model: frozen, and a field that nobody declared is an error."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class Word(Frozen):
    """One word as it was heard; times in seconds from the start of its recording."""

    start: float | None = None
    end: float | None = None
    text: str
    probability: float | None = None


class HeardDoubt(Frozen):
    """How sure the sound makes one figure of a segment. `start` and `end` are places in the segment's text."""

    start: int
    end: int
    wrong: float
    """Probability that another figure was said, from all signs of the sound; 0 to 1."""
    confirm: tuple[str, ...] = ()
    """Reasons for a second listen, in the draft's words; empty when the sound leaves no doubt worth a flag."""
    alternatives: tuple[str, ...] = ()
    """What else may have been said there, in words or digits, the likeliest first."""
    instead: str | None = None
    """The one of them that is taken for what was said: two other hearings agree on it."""


class Segment(Frozen):
    """One stretch of speech. Imported text has no words, and text without times has null times."""

    start: float | None = None
    end: float | None = None
    text: str
    words: tuple[Word, ...] = ()
    recording: int = 0
    line: int | None = None
    """Line of the imported text, from 1; null for audio."""
    heard_again: str | None = None
    """What a second hearing of the same sound wrote; null when there was none."""
    doubts: tuple[HeardDoubt, ...] = ()
    """One for every figure that was heard, in order; empty for imported text."""


class Transcript(Frozen):
    """Everything that was heard in one job, in order."""

    segments: tuple[Segment, ...] = ()


class Evidence(Frozen):
    """Where a fact was said: the source, the stretch of it, and the words as they stand in the transcript."""

    recording: int = 0
    start: float | None = None
    end: float | None = None
    line: int | None = None
    quote: str


class Alternative(Frozen):
    """Another figure that the same words or the same sound may mean."""

    value: float | None = None
    low: float | None = None
    high: float | None = None
    unit: str | None = None
    quantity: Quantity | None = None
    """Set where the figure may be of another quantity than its reading says."""


class Said(Frozen):
    """One field of the visit or the equipment. `given`: a person entered it, so it has no evidence."""

    value: str
    evidence: Evidence | None = None
    confirm: tuple[str, ...] = ()
    given: bool = False
    because: tuple[str, ...] = ()


class Reading(Frozen):
    """One figure that somebody stated about the job; either `value` or `low` and `high` is set."""

    id: str
    quantity: Quantity
    subject: str
    role: Role
    value: float | None = None
    low: float | None = None
    high: float | None = None
    tolerance_pct: tuple[float, float] | None = None
    unit: str | None = None
    place: str | None = None
    of: str | None = None
    rating: Rating | None = None
    qualifiers: tuple[Qualifier, ...] = ()
    stage: Stage | None = None
    at: float | None = None
    evidence: Evidence
    confirm: tuple[str, ...] = ()
    alternatives: tuple[Alternative, ...] = ()
    superseded_by: str | None = None
    repeats: tuple[Evidence, ...] = ()
    minutes: float | None = None
    """Minutes of the clock or of the run that were said with it: a point of a series. Only differences count."""
    because: tuple[str, ...] = ()
    """Why it stands here: unit, cues, trade words that fired, and what was refused beside it."""
    probability: float | None = None
    """Lowest probability among the words that the figure is written with; null for imported text."""


class Trail(Frozen):
    """An earlier state of a finding."""

    status: FindingStatus
    text: str
    evidence: Evidence


class Finding(Frozen):
    """A component's state as the speaker judged it."""

    id: str
    component: str
    place: str | None = None
    condition: Condition
    status: FindingStatus
    text: str
    evidence: Evidence
    at: float | None = None
    stage: Stage | None = None
    confirm: tuple[str, ...] = ()
    trail: tuple[Trail, ...] = ()
    because: tuple[str, ...] = ()


class Action(Frozen):
    """Work done, planned or recommended. `was` and `now` are ids of the readings of a changed setting."""

    id: str
    action: ActionKind
    component: str
    place: str | None = None
    status: ActionStatus
    text: str
    evidence: Evidence
    at: float | None = None
    was: str | None = None
    now: str | None = None
    confirm: tuple[str, ...] = ()
    because: tuple[str, ...] = ()


class Part(Frozen):
    """A part used, to order or on hand."""

    id: str
    description: str
    component: str
    part_number: str | None = None
    serial: str | None = None
    quantity: int | None = None
    rating: str | None = None
    status: PartStatus
    evidence: Evidence
    confirm: tuple[str, ...] = ()
    because: tuple[str, ...] = ()


class FollowUp(Frozen):
    """Something to come back for. `when` as said; `date` ISO 8601 only where it is certain."""

    text: str
    when: str | None = None
    date: str | None = None
    evidence: Evidence


class Complaint(Frozen):
    """What the customer reported."""

    text: str
    evidence: Evidence
    because: tuple[str, ...] = ()


class Unplaced(Frozen):
    """A figure that was heard and is no reading of this job."""

    text: str
    reason: UnplacedReason
    evidence: Evidence
    because: tuple[str, ...] = ()


class Equipment(Frozen):
    """One machine."""

    type: Said | None = None
    make: Said | None = None
    model: Said | None = None
    serial: Said | None = None
    refrigerant: Said | None = None
    location: Said | None = None


class Visit(Frozen):
    """Who, where and when."""

    customer: Said | None = None
    site: Said | None = None
    contact: Said | None = None
    technician: Said | None = None
    date: Said | None = None
    arrived: Said | None = None
    left: Said | None = None
    reference: Said | None = None


class Facts(Frozen):
    """All that extraction found in one job."""

    visit: Visit = Field(default_factory=Visit)
    complaint: Complaint | None = None
    equipment: Equipment = Field(default_factory=Equipment)
    other_equipment: tuple[Equipment, ...] = ()
    readings: tuple[Reading, ...] = ()
    findings: tuple[Finding, ...] = ()
    actions: tuple[Action, ...] = ()
    parts: tuple[Part, ...] = ()
    follow_ups: tuple[FollowUp, ...] = ()
    unplaced: tuple[Unplaced, ...] = ()
    faults: tuple[str, ...] = ()
    """Extractors that raised, one sentence each; the draft is then partial."""
