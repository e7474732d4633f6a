"""Whatever is said, nothing crashes, every quote stands in the transcript, and every figure goes somewhere."""

from hypothesis import given, settings
from hypothesis import strategies as st

from extractors import find_facts
from extractors.facts import Segment, Transcript
from extractors.passage import make_passage
from extractors.scene import Scene
from extractors.talk import Talk

TALK = """
suction head box compressor fan cap tag says reading set at for the it's and no wait now volts amps
degrees pounds microns minutes left right one two oh eight eighteen forty point five half a hundred
minus 118 4.3 1:18 R404A she said last time model serial B 7 replaced cleaned dirty . , ? order coil
superheat to or about
"""
WORDS = TALK.split()

SENTENCE = st.lists(st.sampled_from(WORDS), min_size=1, max_size=25).map(" ".join)


def plain(text):
    return " ".join(text.split())


@settings(derandomize=True, max_examples=60, deadline=None)
@given(st.lists(SENTENCE, min_size=1, max_size=6))
def test_any_talk(lines):
    transcript = Transcript(segments=tuple(Segment(text=line, line=n) for n, line in enumerate(lines, 1)))
    facts = find_facts(transcript)
    whole = plain(" ".join(lines))

    assert facts.faults == ()
    quoted = [r.evidence.quote for r in facts.readings] + [u.evidence.quote for u in facts.unplaced]
    quoted += [f.evidence.quote for f in (*facts.findings, *facts.actions, *facts.parts)]
    assert [q for q in quoted if plain(q) not in whole] == []
    for reading in facts.readings:
        assert (reading.value is None) == (reading.low is not None)


@settings(derandomize=True, max_examples=60, deadline=None)
@given(st.lists(SENTENCE, min_size=1, max_size=5))
def test_every_spoken_figure_goes_somewhere(lines):
    """A figure is a reading, a repeat, superseded, a tolerance, part of a name, or listed with the reason."""
    transcript = Transcript(segments=tuple(Segment(text=line, line=n) for n, line in enumerate(lines, 1)))
    facts = find_facts(transcript)
    talk = Talk(make_passage(transcript))
    from extractors import identified

    scene = Scene(talk, identified(talk))
    kept = sum(1 + len(r.repeats) for r in facts.readings) + len(facts.unplaced)
    spoken = [f for f in scene.figures if not scene.is_used(f) and f.form != "tolerance"]

    assert kept >= len(spoken)


def test_long_text_and_odd_characters():
    odd = "\x00 \u202e 118\u00a0V 😀 5½ °F -- 1/0 ::: 9999999999999999999 0x1F 1e309 ２４"
    facts = find_facts(Transcript(segments=(Segment(text=odd), Segment(text=""), Segment(text="   "))))

    assert facts.faults == ()


def test_nothing_said():
    assert find_facts(Transcript()).readings == ()
