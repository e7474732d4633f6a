"""Everything that reads what was uploaded, with what hypothesis makes up for it: it may refuse, and nothing else."""

from __future__ import annotations

import io
import json
import math
import shutil
import struct
import tempfile
import wave
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from app_store import ready_job, store_at
from app_web import BASE, FROM_HERE, NoEngine
from hypothesis import strategies as st
from starlette.testclient import TestClient

from pipeline.desk import Desk
from pipeline.draft import load
from pipeline.edits import load_edits
from pipeline.errors import ReportError
from pipeline.given import read_file
from pipeline.imported import read_text
from pipeline.judge import judge
from pipeline.learned import load_words_file
from pipeline.shop import load_shop
from pipeline.store.store import LOCAL, Store
from pipeline.store.uploads import shown_name
from pipeline.transfer import bring_in, export
from pipeline.web.app import create_app
from pipeline.web.people import User

STAMPS = st.sampled_from(
    ["[0:06] words", "[99:99:99] x", "1", "00:00:01,000 --> 00:00:02,000", "0:1.5 --> 0:0.5 align:left", "WEBVTT",
     "NOTE x", "<v Ann>nine amps", "{\\an8}", "&#x110000;", "&amp;", "9" * 40, "\u202e", "\ufeff", "", "{\\", "<" * 50]
)  # fmt: skip
LINES = st.lists(st.one_of(STAMPS, st.text(max_size=40)), max_size=12).map("\n".join)
LEAF = st.one_of(
    st.none(), st.booleans(), st.integers(-(2**70), 2**70), st.floats(), st.text(max_size=12),
    st.sampled_from(["\ud800", "\x00", "../../etc", "r3", "change", "J" * 300, "<script>", "=1+1", "2026-02-30"]),
)  # fmt: skip
VALUE = st.recursive(
    LEAF,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=8), inner, max_size=4),
    max_leaves=8,
)  # fmt: skip
DEEP = st.integers(1, 40_000).map(lambda depth: "[" * depth)


def changed(seed: bytes) -> st.SearchStrategy[bytes]:
    """A whole file with some bytes changed, cut off, doubled or put in."""
    place = st.integers(0, max(0, len(seed) - 1))
    change = st.tuples(place, st.sampled_from("xidc"), st.binary(min_size=1, max_size=8))

    def apply(changes: list[tuple[int, str, bytes]]) -> bytes:
        data = bytearray(seed)
        for at, how, put in changes:
            if how == "x":
                data[at : at + len(put)] = put
            elif how == "i":
                data[at:at] = put
            elif how == "d":
                del data[at : at + 64 * len(put)]
            else:
                data = data[: max(1, at)]
        return bytes(data)

    return st.lists(change, min_size=1, max_size=6).map(apply)


@cache
def sounds() -> dict[str, bytes]:
    """A short tone in each of the containers that are taken in and can be written here."""
    import av

    raw = io.BytesIO()
    with wave.open(raw, "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(16000)
        file.writeframes(b"".join(struct.pack("<h", int(9000 * math.sin(n / 9))) for n in range(8000)))
    made = {".wav": raw.getvalue()}
    for suffix, form, codec in ((".m4a", "ipod", "aac"), (".ogg", "ogg", "libopus"), (".flac", "flac", "flac")):
        out = io.BytesIO()
        with av.open(io.BytesIO(made[".wav"])) as source, av.open(out, "w", format=form) as target:
            track = target.add_stream(codec, rate=48000 if codec == "libopus" else 16000, layout="mono")
            for frame in source.decode(audio=0):
                frame.pts = None
                target.mux(track.encode(frame))
            target.mux(track.encode(None))
        made[suffix] = out.getvalue()
    return made


@contextmanager
def file(name: str, data: bytes) -> Iterator[Path]:
    """A file with these bytes, for as long as it is looked at."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / name
        path.write_bytes(data)
        yield path


def reads(name: str, read: Callable[[Path], object]) -> Callable[[bytes], None]:
    """Reads a file of that name."""

    def run(data: bytes) -> None:
        with file(name, data) as path:
            refuses(lambda: read(path))

    return run


def refuses(work: Callable[[], object]) -> None:
    """A sentence for the person is an answer; any other fault is one of ours."""
    try:
        work()
    except ReportError as fault:
        assert fault.message


def sound(given: tuple[str, bytes]) -> None:
    """Decodes a recording to its end, as far as it goes."""
    from pipeline.decode import blocks, probe
    from pipeline.hear_apart import peaks_of

    with file(f"front{given[0]}", given[1]) as path:
        refuses(lambda: probe(path))
        refuses(lambda: [len(block) for block in blocks(path)])
        refuses(lambda: peaks_of(path))


class Site:
    """The pages of a store with one job, made once; what is sent there must never be a fault of the program."""

    def __init__(self) -> None:
        self.folder = tempfile.TemporaryDirectory()
        self.store: Store = store_at(Path(self.folder.name) / "home")
        self.desk = Desk(self.store)
        self.job = ready_job(self.store, self.desk)
        app = create_app(self.store, self.desk, NoEngine(), User(LOCAL, "Ann", "owner"))
        self.client = TestClient(app, base_url=BASE, headers=FROM_HERE, raise_server_exceptions=False)

    def send(self, path: str, body: str) -> None:
        """Posts a body as a script of the page would."""
        data = body.encode("utf-8", "surrogatepass")
        answer = self.client.post(path, content=data, headers={"accept": "application/json"})
        assert answer.status_code < 500, answer.text


@cache
def site() -> Site:
    """The one site of this process."""
    return Site()


@cache
def exported() -> Path:
    """What `jobtape export` writes of a job."""
    folder = Path(site().folder.name) / "out"
    export(site().store, site().desk, folder)
    return folder


def imported(data: bytes) -> None:
    """Reads an exported job back."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name) / "out"
        shutil.copytree(exported(), folder)
        next(folder.glob("*/job.json")).write_bytes(data)
        into = store_at(Path(name) / "into")
        try:
            refuses(lambda: bring_in(into, Desk(into), folder, LOCAL))
        finally:
            into.close()


def shown(name: str) -> None:
    """A name is shown and never is a path."""
    clean = shown_name(name)
    assert clean
    assert len(clean) <= 200
    assert "/" not in clean
    assert "\\" not in clean
    assert clean not in (".", "..")


def text(path: Path) -> object:
    """A transcript."""
    return read_text(path)


def as_json(value: Any) -> str:
    """JSON as a browser, or somebody who pretends to be one, would send it."""
    return json.dumps(value)


EDIT = st.fixed_dictionaries(
    {},
    optional={
        "id": LEAF,
        "do": st.sampled_from(["change", "delete", "add", "undo", "words", "settle", "review", "heard"]) | LEAF,
        "handle": st.sampled_from(["r1", "r3", "job", "equipment.serial", "visit.site", "f1"]) | LEAF,
        "now": st.dictionaries(st.sampled_from(["value", "unit", "text", "choice", "role"]), VALUE, max_size=3) | VALUE,
        "seen": LEAF,
        "draft": LEAF,
    },
)
UPLOAD = st.fixed_dictionaries({}, optional={"name": LEAF, "size": LEAF, "modified": LEAF, "batch": LEAF})
CELLS = st.sampled_from(["quantity", "value", "unit", "voltage", "V", "9.6", '"', "=1"]) | st.text(max_size=8)
TABLE = st.lists(st.lists(CELLS, max_size=5).map(",".join), max_size=6).map("\n".join)
ROWS = st.sampled_from(
    ["[limits.superheat]", "name = 1", 'paper_size = "A9"', "[[word]]", 'heard = "x"', "a.b = [", "altitude_ft = 1e999",
     'customer = "' + "x" * 9000 + '"']
)  # fmt: skip
TOML = st.lists(ROWS | st.text(max_size=20), max_size=6).map("\n".join)


@dataclass(frozen=True)
class Target:
    """One parser, and what is thrown at it."""

    values: Callable[[], st.SearchStrategy[Any]]
    run: Callable[[Any], None]


def texts() -> st.SearchStrategy[bytes]:
    """Bytes that are, or look like, a text."""
    return LINES.map(lambda said: said.encode("utf-8", "surrogatepass")) | st.binary(max_size=300)


TARGETS: dict[str, Target] = {
    "text": Target(texts, reads("front.txt", text)),
    "vtt": Target(texts, reads("front.vtt", text)),
    "srt": Target(texts, reads("front.srt", text)),
    "sound": Target(
        lambda: st.sampled_from(sorted(sounds())).flatmap(
            lambda suffix: st.tuples(st.just(suffix), changed(sounds()[suffix]))
        ),
        sound,
    ),
    "name": Target(st.text, shown),
    "draft": Target(lambda: VALUE.map(as_json) | st.text(), lambda said: values_only(lambda: load(said))),
    "edits": Target(lambda: VALUE.map(as_json) | DEEP, lambda said: values_only(lambda: load_edits(said))),
    "import": Target(lambda: changed(next(exported().glob("*/job.json")).read_bytes()), imported),
    "judge": Target(
        lambda: TABLE.map(lambda said: said.encode("utf-8", "surrogatepass")), reads("r.csv", lambda path: judge(path))
    ),
    "shop": Target(lambda: TOML.map(lambda said: said.encode("utf-8", "surrogatepass")), reads("shop.toml", load_shop)),
    "given": Target(lambda: TOML.map(lambda said: said.encode("utf-8", "surrogatepass")), reads("job.toml", read_file)),
    "words": Target(
        lambda: TOML.map(lambda said: said.encode("utf-8", "surrogatepass")), reads("words.toml", load_words_file)
    ),
    "begin": Target(lambda: UPLOAD.map(as_json) | DEEP, lambda body: site().send("/uploads", body)),
    "edit": Target(lambda: EDIT.map(as_json) | DEEP, lambda body: site().send(f"/jobs/{site().job}/edits", body)),
}


def values_only(work: Callable[[], object]) -> None:
    """What a file of ours may answer to those who read it back: it is not one."""
    try:
        work()
    except (ReportError, ValueError):
        return
