"""Texts with and without times, captions that roll, and files that are no text."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipeline.errors import InputError
from pipeline.imported import read_text

Row = tuple[float | None, float | None, str, int]


def read(tmp_path: Path, name: str, content: str | bytes) -> list[Row]:
    path = tmp_path / name
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return [(segment.start, segment.end, segment.text, segment.line or 0) for segment in read_text(path).segments]


VTT = "WEBVTT - made by hand\n\nNOTE\nnot said\n\n"

CASES = {
    "plain lines": ("a.txt", "one\n\n  two  \n", [(None, None, "one", 1), (None, None, "two", 3)]),
    "times, the last without an end": (
        "a.txt",
        "[0:05] suction is 68\n[1:02:03] done\n",
        [(5.0, 3723.0, "suction is 68", 1), (3723.0, None, "done", 2)],
    ),
    "a time with tenths": ("a.txt", "[0:01.5] a\n", [(1.5, None, "a", 1)]),
    "times that go back give no negative length": (
        "a.txt",
        "[1:00] a\n[0:30] b\n",
        [(60.0, 60.0, "a", 1), (30.0, None, "b", 2)],
    ),
    "a bracket that is no time is said": ("a.txt", "[inaudible] a\n", [(None, None, "[inaudible] a", 1)]),
    "windows line ends and a byte order mark": (
        "a.txt",
        b"\xef\xbb\xbfa\r\nb\r\n",
        [(None, None, "a", 1), (None, None, "b", 2)],
    ),
    "an old recorder's degree sign": ("a.txt", b"38\xb0\n", [(None, None, "38°", 1)]),
    "subrip": (
        "a.srt",
        "1\n00:00:01,000 --> 00:00:02,500\nhead is\ntwo ten\n\n2\n00:00:03,000 --> 00:00:04,000\nokay\n",
        [(1.0, 2.5, "head is two ten", 3), (3.0, 4.0, "okay", 8)],
    ),
    "subrip without blank lines; a figure said last is no number of a cue": (
        "a.srt",
        "1\n00:00:01,000 --> 00:00:02,000\nsuction\n68\n2\n00:00:02,000 --> 00:00:03,000\nokay\n",
        [(1.0, 2.0, "suction 68", 3), (2.0, 3.0, "okay", 7)],
    ),
    "webvtt with notes, names, tags, settings and entities": (
        "a.vtt",
        VTT + "c1\n00:01.000 --> 00:02.000 align:start\n<v Ann><b>40</b> psi &amp; fine\n",
        [(1.0, 2.0, "Ann: 40 psi & fine", 8)],
    ),
    "captions that roll are said once": (
        "a.vtt",
        VTT
        + "00:01.000 --> 00:02.000\nit is\n\n00:02.000 --> 00:03.000\nit is\nforty\n\n"
        + "00:03.000 --> 00:04.000\nforty\n",
        [(1.0, 2.0, "it is", 7), (2.0, 3.0, "forty", 10)],
    ),
    "the same words after a pause are said twice": (
        "a.vtt",
        VTT + "00:01.000 --> 00:02.000\nforty\n\n00:09.000 --> 00:10.000\nforty\n",
        [(1.0, 2.0, "forty", 7), (9.0, 10.0, "forty", 10)],
    ),
}  # fmt: skip


@pytest.mark.parametrize(("name", "content", "want"), CASES.values(), ids=CASES)
def test_text_is_read_with_times_and_lines(tmp_path: Path, name: str, content: str | bytes, want: list[Row]) -> None:
    assert read(tmp_path, name, content) == want


FAULTS = {
    "empty": (b"", "empty-text"),
    "no words": (b" \n\n", "empty-text"),
    "utf-16 with a mark": ("suction is 68".encode("utf-16"), "not-utf8"),
    "utf-16 without a mark": ("suction is 68".encode("utf-16-be"), "not-utf8"),
    "NUL bytes": (b"suction\x00 is 68 and then some more words", "not-text"),
    "a picture": (bytes(range(1, 256)) * 4, "not-text"),
}


@pytest.mark.parametrize(("content", "code"), FAULTS.values(), ids=FAULTS)
def test_no_text_is_said_in_one_sentence(tmp_path: Path, content: bytes, code: str) -> None:
    with pytest.raises(InputError) as fault:
        read(tmp_path, "weird name.txt", content)

    assert fault.value.code == code
    assert "weird name.txt" in fault.value.message
    assert fault.value.hint


def test_recording_index_is_carried(tmp_path: Path) -> None:
    path = tmp_path / "a.txt"
    path.write_text("a\n")

    assert [segment.recording for segment in read_text(path, 3).segments] == [3]
