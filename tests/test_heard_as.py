"""Words that noise made of trade words and units. What was heard: recogniser output of synthetic voices in noise."""

import pytest

from extractors import find_facts
from extractors.facts import HeardDoubt, Segment, Transcript
from extractors.heard_as import alike, understood
from extractors.passage import make_passage


def transcript(*texts):
    return Transcript(segments=tuple(Segment(text=text) for text in texts))


def taken(text):
    passage = understood(make_passage(transcript(text)))
    return {passage.tokens[index].text: meant for index, meant in passage.taken.items()}


@pytest.mark.parametrize(
    ("heard", "meant"),
    [
        ("it took one hundred fifteen bolt sixty hertz", {"bolt": "volt"}),
        ("and then I had forty gnomes", {"gnomes": "ohms"}),
        ("was pulling one point nine naps", {"naps": "amps"}),
        ("Aps twelve point eight thirteen point one", {"Aps": "amps"}),
        ("the bolts fell to two twenty-six while it did that", {"bolts": "volts"}),
        ("Plate, bolts two, oh eight, three phase", {"bolts": "volts"}),
        ("hurt sixty, kilowatts eleven", {"hurt": "hertz"}),
        ("the low side is two fifty-five, sassuration on it is ten", {"sassuration": "saturation"}),
        ("common to ren point eight", {"ren": "run"}),
        ("the plane sensor is at two point four", {"plane": "flame"}),
    ],
)
def test_a_word_is_understood_by_its_sound(heard, meant):
    assert taken(heard) == meant


@pytest.mark.parametrize(
    "said",
    [
        "two bolts were loose and it read two twenty",
        "I torqued the bolts to twenty foot pounds",
        "four screws and sixty washers",
        "three months ago it was two forty",
        "Bill Nomes signed at forty",
        "I spoke with Mister Ampson, forty minutes",
        "the left one pulls three point one",
        "he wants sixty in there",
    ],
)
def test_ordinary_words_stay(said):
    assert taken(said) == {}


def test_words_of_a_sentence_without_a_figure_stay():
    assert taken("the plane sensor was dirty") == {}


def test_a_reading_understood_so_is_asked_and_quotes_what_was_heard():
    facts = find_facts(transcript("the bolts fell to two twenty six while it was doing that."))

    (reading,) = facts.readings
    assert (reading.quantity, reading.value, reading.unit) == ("voltage", 226, "V")
    assert "heard differently: “bolts” taken for volts" in reading.confirm
    assert reading.evidence.quote == "the bolts fell to two twenty six"


def test_a_finding_understood_so_is_asked():
    facts = find_facts(transcript("the plane sensor is dirty, it reads point four microamps"))

    findings = [finding for finding in facts.findings if finding.component == "flame sensor"]
    assert findings
    assert all("heard differently: “plane” taken for flame" in finding.confirm for finding in findings)


def test_sounds_of_one_place_in_the_mouth_are_near():
    assert alike("bolts", "volts") > alike("salts", "volts")
    assert alike("mag", "meg") == 1.0


def test_a_word_that_nobody_knows_before_a_figure_without_a_unit_is_asked_when_it_was_heard():
    text = "suction pressure trekset thirty-seven"
    doubt = HeardDoubt(start=25, end=37, wrong=0.01)
    heard = find_facts(Transcript(segments=(Segment(text=text, doubts=(doubt,)),)))
    written = find_facts(transcript(text))

    assert any("trekset" in reason for r in heard.readings for reason in r.confirm)
    assert not any("trekset" in reason for r in written.readings for reason in r.confirm)


def test_a_figure_that_two_other_hearings_agree_on_is_taken_and_asked():
    text = "fan cycle out at one sixteen psi"
    doubt = HeardDoubt(start=17, end=28, wrong=0.5, confirm=("heard differently",), alternatives=("one sixty",))
    agreed = doubt.model_copy(update={"instead": "one sixty"})

    def values(doubt):
        facts = find_facts(Transcript(segments=(Segment(text=text, doubts=(doubt,)),)))
        return [(r.value, [a.value for a in r.alternatives], r.evidence.quote[-15:]) for r in facts.readings], facts

    assert values(doubt)[0] == [(116, [160], "one sixteen psi")]
    assert values(agreed)[0] == [(160, [116], "one sixteen psi")]
    assert "heard differently: “one sixteen” taken for 160" in values(agreed)[1].readings[0].confirm
