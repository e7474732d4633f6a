"""Drafts for tests of editing, storing and showing: an invented visit, with words that have times."""

from __future__ import annotations

from extractors.facts import (
    Action,
    Alternative,
    Complaint,
    Equipment,
    Evidence,
    Finding,
    FollowUp,
    Part,
    Reading,
    Said,
    Segment,
    Transcript,
    Unplaced,
    Visit,
    Word,
)
from pipeline.draft import Basis, Check, Diagnosis, Draft, Gap, MadeWith, Recording, Verdict

SHA = "a" * 64

LINES = (
    "alright this is the two door cooler at the feed store loading dock",
    "serial is K 4 7 dash 2 2 0 9",
    "run cap is marked 25 plus or minus 5 percent and I'm getting 21.9",
    "compressor is pulling 9.6 on common",
    "box is at 51 right now",
    "condenser is packed with lint so I washed it",
    "hung a new run capacitor 25 microfarad",
    "box is down to 38 and still falling",
    "four screws on that cover by the way",
    "I'll be back thursday to look at the door gasket",
)


def timed(lines: tuple[str, ...] = LINES, shift_s: float = 0.0) -> Transcript:
    """A transcript with a word every 0.4 s and a pause of 2 s between lines."""
    segments, clock = [], 3.0 + shift_s
    for line in lines:
        words = []
        for text in line.split():
            words.append(Word(start=round(clock, 2), end=round(clock + 0.35, 2), text=text, probability=0.9))
            clock += 0.4
        segments.append(Segment(start=words[0].start, end=words[-1].end, text=line, words=tuple(words)))
        clock += 2.0
    return Transcript(segments=tuple(segments))


def said(transcript: Transcript, quote: str) -> Evidence:
    """Evidence for words of the transcript; the test is wrong when they are not in it."""
    wanted = quote.split()
    for segment in transcript.segments:
        texts = [word.text for word in segment.words]
        for i in range(len(texts) - len(wanted) + 1):
            if texts[i : i + len(wanted)] == wanted:
                return Evidence(start=segment.words[i].start, end=segment.words[i + len(wanted) - 1].end, quote=quote)
    raise AssertionError(f"{quote!r} is not in the transcript")


def draft(transcript: Transcript | None = None, *, found: float = 21.9, sha: str = SHA) -> Draft:
    """The machine's draft of the invented visit; `found` is the figure it heard at the capacitor."""
    spoken = transcript or timed(tuple(line.replace("21.9", f"{found:g}") for line in LINES))
    at = lambda quote: said(spoken, quote)  # noqa: E731
    rated = at("run cap is marked 25 plus or minus 5 percent")
    got = at(f"I'm getting {found:g}")
    return Draft(
        name="dock-cooler",
        made_with=MadeWith(program="0.1.0", speech_model="whisper base", hearing="careful"),
        visit=Visit(site=Said(value="feed store, loading dock", evidence=at("the feed store loading dock"))),
        recordings=(
            Recording(file="dock-cooler.m4a", sha256=sha, duration_s=90.0, starts_s=0.0, ends_s=90.0, grade=0.9),
        ),
        transcript=spoken,
        complaint=Complaint(text="The box is warm", evidence=at("box is at 51 right now")),
        equipment=Equipment(
            type=Said(value="reach-in cooler", evidence=at("two door cooler")),
            serial=Said(
                value="K47-2209", evidence=at("serial is K 4 7 dash 2 2 0 9"), confirm=("low confidence: one letter",)
            ),
        ),
        readings=(
            Reading(
                id="r1", quantity="capacitance", subject="run capacitor", role="rated", value=25.0,
                tolerance_pct=(5.0, 5.0), unit="uF", at=rated.start, evidence=rated, confirm=("unit not said",),
            ),
            Reading(
                id="r2", quantity="capacitance", subject="run capacitor", role="measured", value=found, unit="uF",
                stage="as_found", at=got.start, evidence=got, confirm=("heard differently: 29.9 the second time",),
                alternatives=(Alternative(value=29.9, unit="uF"),),
            ),
            Reading(
                id="r3", quantity="current", subject="compressor", role="measured", value=9.6, unit="A",
                place="common", stage="as_found", evidence=at("compressor is pulling 9.6 on common"),
            ),
            Reading(
                id="r4", quantity="temperature", subject="box", role="measured", value=51.0, unit="degF",
                stage="as_found", evidence=at("box is at 51 right now"),
            ),
            Reading(
                id="r5", quantity="temperature", subject="box", role="measured", value=38.0, unit="degF",
                stage="as_left", evidence=at("box is down to 38"),
            ),
        ),
        checks=(
            Check(
                id="c1", rule="capacitor-tolerance", readings=("r1", "r2"), verdict=Verdict.OUT_OF_TOLERANCE,
                value=-12.4, allowed_low=-5.0, allowed_high=5.0, unit="%",
                message="Run capacitor 21.9 µF against 25 µF ±5 % (marking, said at 0:12): 12.4 % low.",
                basis=Basis(kind="nameplate", source="marking, said at 0:12"),
            ),
        ),
        findings=(
            Finding(
                id="f1", component="condenser", condition="clogged", status="observed",
                text="Condenser packed with lint", evidence=at("condenser is packed with lint"), stage="as_found",
            ),
        ),
        actions=(
            Action(
                id="a1", action="cleaned", component="condenser", status="done", text="Washed the condenser",
                evidence=at("I washed it"),
            ),
            Action(
                id="a2", action="replaced", component="run capacitor", status="done", text="Hung a new run capacitor",
                evidence=at("hung a new run capacitor"),
            ),
        ),
        parts=(
            Part(
                id="p1", description="run capacitor", component="run capacitor", rating="25 µF", status="used",
                evidence=at("new run capacitor 25 microfarad"),
            ),
        ),
        follow_ups=(
            FollowUp(
                text="Come back to look at the door gasket", when="thursday",
                evidence=at("I'll be back thursday to look at the door gasket"),
            ),
        ),
        diagnosis=Diagnosis(causes=("f1",), remedies=("a1", "a2"), proof=("r5",)),
        gaps=(
            Gap(field="equipment.refrigerant", question="Which refrigerant is on the plate?"),
            Gap(field="visit.customer", question="Who is the customer?"),
        ),
        unplaced=(Unplaced(text="four", reason="count of things", evidence=at("four screws")),),
        summary="The box was warm. The condenser was clogged and was washed. The box was at 38 °F when we left.",
    )  # fmt: skip
