"""Forms for other programs: tables, transcript, calendar, mail, documents that are edited further."""

from __future__ import annotations

import csv
import io
import re
import zipfile
from datetime import date
from email import message_from_bytes
from email.policy import default as mail_policy

from render_drafts import draft, reading

from extractors.facts import Evidence, FollowUp, Segment, Transcript
from pipeline.draft import Draft, Recording
from pipeline.render import paper, papers
from pipeline.render.exports import COLUMNS

ROOF = "walkin-roof-start-gear"


def bare(text: str) -> str:
    """A text without any space, so that how a line breaks does not matter."""
    return re.sub(r"\s+", "", text)


def test_readings_csv_holds_the_columns_that_judge_reads_and_every_reading() -> None:
    job = draft(ROOF)
    rows = list(csv.DictReader(io.StringIO(papers(job, names=["report"])["readings.csv"].decode())))

    assert COLUMNS[:13] == (
        "quantity", "subject", "role", "value", "low", "high", "unit", "stage", "place", "rating",
        "tolerance_minus", "tolerance_plus", "qualifiers",
    )  # fmt: skip
    assert [row["id"] for row in rows] == [one.id for one in job.readings]
    for row, one in zip(rows, job.readings, strict=True):
        assert row["value"] == ("" if one.value is None else f"{one.value:g}")
        assert row["role"] == one.role.value


def test_negative_figure_stays_a_number_in_csv() -> None:
    made = papers(Draft(readings=(reading("r1", -10.0),)), names=["report"])["readings.csv"].decode()

    assert ",-10," in made
    assert "'" not in made


def test_transcript_is_webvtt() -> None:
    """W3C WebVTT: signature, cue times hh:mm:ss.ttt, text without markup; untimed text makes up no time."""
    job = Draft(
        recordings=(Recording(file="a --> b.m4a", sha256="0"),),
        transcript=Transcript(
            segments=(
                Segment(start=3661.5, end=3662.25, text="less < more & such"),
                Segment(start=3663.0, text="no end"),
                Segment(text="no time --> at all", line=4),
            )
        ),
    )
    blocks = papers(job, names=["report"])["transcript.vtt"].decode().split("\n\n")

    assert blocks[0] == "WEBVTT"
    assert blocks[2] == "1.1\n01:01:01.500 --> 01:01:02.250\nless &lt; more &amp; such"
    assert blocks[3].splitlines()[1] == "01:01:03.000 --> 01:01:04.000"
    assert blocks[4].startswith("NOTE line 4: no time --&gt; at all")


def test_dated_follow_up_is_a_calendar_event() -> None:
    """RFC 5545: CRLF, at most 75 octets a line, text escaped, whole-day date."""
    text = "Come back, fit the heater; ask for the “key” at the büro of the very long name street number nine"
    job = Draft(
        follow_ups=(
            FollowUp(text=text, when="Thursday", date=date(2026, 7, 16).isoformat(), evidence=Evidence(quote="x")),
            FollowUp(text="no date", when="soon", evidence=Evidence(quote="y")),
        )
    )
    made = papers(job, names=["report"])["follow-ups.ics"]
    unfolded = made.decode().replace("\r\n ", "")

    assert all(len(line) <= 75 for line in made.split(b"\r\n"))
    assert unfolded.count("BEGIN:VEVENT") == 1
    assert "DTSTART;VALUE=DATE:20260716" in unfolded
    assert "SUMMARY:Come back\\, fit the heater\\; ask" in unfolded
    assert "follow-ups.ics" not in papers(Draft(follow_ups=job.follow_ups[1:]), names=["report"])


def test_mail_draft_holds_the_customers_paper() -> None:
    job = draft(ROOF)
    message = message_from_bytes(paper(job, "customer", "eml"), policy=mail_policy)
    attached = next(message.iter_attachments())

    assert message["Subject"].startswith("DRAFT, not for sending: Service report")
    assert message["To"] is None
    assert message["Date"] is None
    assert bare(job.summary) in bare(message.get_body().get_content())
    assert attached.get_content() == paper(job, "customer", "pdf")
    assert attached.get_content_type() == "application/pdf"


def test_docx_has_real_headings_tables_and_repeated_heads() -> None:
    import docx

    document = docx.Document(io.BytesIO(paper(draft(ROOF), "report", "docx")))
    styles = {paragraph.style.name for paragraph in document.paragraphs}
    xml = document.element.xml

    assert {"Title", "Heading 1", "Heading 2", "List Bullet"} <= styles
    assert "w:tblHeader" in xml
    assert "w:cantSplit" in xml
    assert len(document.tables) > 3
    described = re.findall(r'descr="([^"]+)"', xml)
    assert any("37" in words for words in described)
    assert len(described) == len(document.inline_shapes)


def test_docx_carries_no_time_of_this_machine() -> None:
    with zipfile.ZipFile(io.BytesIO(paper(draft(ROOF), "report", "docx"))) as archive:
        assert {entry.date_time for entry in archive.infolist()} == {(1980, 1, 1, 0, 0, 0)}
