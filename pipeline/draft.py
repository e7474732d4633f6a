"""The draft of one job: the one model that flows through all stages, and how it is read and written."""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated, Literal

from pydantic import ConfigDict, Field

from extractors.facts import (
    Action,
    Complaint,
    Equipment,
    Evidence,
    Finding,
    FollowUp,
    Frozen,
    Part,
    Quantity,
    Reading,
    Stage,
    Transcript,
    Unplaced,
    Visit,
)


class Problem(Frozen):
    """Something that went wrong and was survived."""

    stage: str
    code: str
    message: str


class Recording(Frozen):
    """One source of the job. `starts_s` and `ends_s` bound the part of it that belongs to this job."""

    file: str
    sha256: str
    duration_s: float | None = None
    starts_s: float | None = None
    ends_s: float | None = None
    recorded_at: str | None = None
    recorded_at_from: Literal["metadata", "file name", "file time"] | None = None
    grade: float | None = None


class Stretch(Frozen):
    """A stretch of sound in which somebody speaks and no words could be had; seconds."""

    recording: int = 0
    start: float
    end: float


class Photo(Frozen):
    """A picture that belongs to the job."""

    file: str
    sha256: str
    caption: str = ""
    at: float | None = None


class Verdict(StrEnum):
    """What a comparison came to."""

    IN_TOLERANCE = "in_tolerance"
    MARGINAL = "marginal"
    OUT_OF_TOLERANCE = "out_of_tolerance"
    NO_REFERENCE = "no_reference"


class Basis(Frozen):
    """Where the allowed values come from."""

    kind: Literal["nameplate", "standard", "common_practice", "shop_setting"]
    source: str


class Computed(Frozen):
    """A value on the way to a verdict; `unit` is null for a plain ratio."""

    value: float
    unit: str | None = None


class Check(Frozen):
    """One comparison: `value` against `allowed_low` and `allowed_high`, all three in `unit`."""

    id: str
    rule: str
    readings: tuple[str, ...] = ()
    verdict: Verdict
    value: float | None = None
    allowed_low: float | None = None
    allowed_high: float | None = None
    unit: str | None = None
    computed: dict[str, Computed] = Field(default_factory=dict)
    message: str
    basis: Basis
    stage: Stage | None = None


class TrendPoint(Frozen):
    """One reading of a series, `minutes` after the first."""

    reading: str
    minutes: float
    value: float


class Trend(Frozen):
    """A series of the same thing over time."""

    id: str
    subject: str
    place: str | None = None
    quantity: Quantity
    unit: str | None = None
    points: tuple[TrendPoint, ...]
    rate_per_h: float | None = None
    stage: Stage | None = None


class Gap(Frozen):
    """What a complete report needs and nobody said."""

    field: str
    question: str
    required: bool = False


class Caution(Frozen):
    """A safety note that this job calls for."""

    text: str
    because: str


class Diagnosis(Frozen):
    """How the job hangs together, by ids."""

    causes: tuple[str, ...] = ()
    remedies: tuple[str, ...] = ()
    proof: tuple[str, ...] = ()
    open: tuple[str, ...] = ()


class MadeWith(Frozen):
    """Versions that decide the result."""

    program: str = ""
    speech_model: str | None = None
    model_sha256: str | None = None
    hearing: Literal["careful", "quick", "imported"] | None = None
    trade_data: str | None = None
    settings: dict[str, str] = Field(default_factory=dict)


class Draft(Frozen):
    """One job. Field names and vocabularies are a contract with scorers, templates and stored jobs."""

    schema_: Annotated[Literal["draft/1"], Field(alias="schema")] = "draft/1"
    name: str = ""
    status: Literal["complete", "partial"] = "complete"
    problems: tuple[Problem, ...] = ()
    made_with: MadeWith = Field(default_factory=MadeWith)
    visit: Visit = Field(default_factory=Visit)
    recordings: tuple[Recording, ...] = ()
    transcript: Transcript = Field(default_factory=Transcript)
    complaint: Complaint | None = None
    equipment: Equipment = Field(default_factory=Equipment)
    other_equipment: tuple[Equipment, ...] = ()
    readings: tuple[Reading, ...] = ()
    checks: tuple[Check, ...] = ()
    findings: tuple[Finding, ...] = ()
    actions: tuple[Action, ...] = ()
    parts: tuple[Part, ...] = ()
    follow_ups: tuple[FollowUp, ...] = ()
    photos: tuple[Photo, ...] = ()
    diagnosis: Diagnosis = Field(default_factory=Diagnosis)
    gaps: tuple[Gap, ...] = ()
    cautions: tuple[Caution, ...] = ()
    trends: tuple[Trend, ...] = ()
    unplaced: tuple[Unplaced, ...] = ()
    unheard: tuple[Stretch, ...] = ()
    summary: str = ""

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)

    def reading(self, reading_id: str) -> Reading:
        """The reading with this id. Raises KeyError when there is none."""
        for reading in self.readings:
            if reading.id == reading_id:
                return reading
        raise KeyError(reading_id)


def dump(draft: Draft) -> str:
    """The draft as JSON text; the same draft gives the same bytes."""
    return draft.model_dump_json(by_alias=True, indent=1) + "\n"


def load(text: str) -> Draft:
    """A draft from JSON text. Raises pydantic.ValidationError when it is not one."""
    return Draft.model_validate_json(text)


__all__ = ["Draft", "Evidence", "dump", "load"]
