"""Uploads that are lists of other files and hosts, and names that are paths: nothing else is ever opened."""

from __future__ import annotations

import socket
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from app_store import uploaded
from sounds import tone, write

from pipeline.decode import blocks
from pipeline.errors import InputError
from pipeline.store.store import Store
from pipeline.web.app import ROUTES


@pytest.fixture
def listener() -> Iterator[tuple[int, list[str]]]:
    """A port of this machine that writes down who came."""
    came: list[str] = []
    with socket.socket() as sock:
        sock.bind(("127.0.0.1", 0))
        sock.listen(5)
        sock.settimeout(0.2)
        stop = threading.Event()

        def wait() -> None:
            while not stop.is_set():
                try:
                    sock.accept()[0].close()
                    came.append("somebody")
                except TimeoutError:
                    continue

        thread = threading.Thread(target=wait)
        thread.start()
        yield sock.getsockname()[1], came
        stop.set()
        thread.join()


LISTS = {
    "hls": "#EXTM3U\n#EXT-X-TARGETDURATION:9\n#EXTINF:9,\n{where}\n#EXT-X-ENDLIST\n",
    "concat": "ffconcat version 1.0\nfile '{where}'\n",
    "dash": '<?xml version="1.0"?><MPD xmlns="urn:mpeg:dash:schema:mpd:2011" type="static" '
    'mediaPresentationDuration="PT9S" profiles="urn:mpeg:dash:profile:isoff-on-demand:2011"><Period><AdaptationSet '
    'mimeType="audio/mp4"><Representation id="1" bandwidth="9"><BaseURL>{where}</BaseURL></Representation>'
    "</AdaptationSet></Period></MPD>",
    "sdp": "v=0\no=- 0 0 IN IP4 127.0.0.1\ns=x\nc=IN IP4 127.0.0.1\nt=0 0\nm=audio 5004 RTP/AVP 0\n",
}


@pytest.mark.parametrize("kind", LISTS)
@pytest.mark.parametrize("suffix", [".mp3", ".m4a", ""])
@pytest.mark.parametrize("where", ["http://127.0.0.1:{port}/a.wav", "other.wav", "{folder}/other.wav"])
def test_a_recording_that_is_a_list_opens_no_other_file_and_no_host(
    tmp_path: Path, listener: tuple[int, list[str]], kind: str, suffix: str, where: str
) -> None:
    port, came = listener
    write(tmp_path / "other.wav", tone(0.5))
    path = tmp_path / f"crafted{suffix}"
    path.write_text(LISTS[kind].format(where=where.format(port=port, folder=tmp_path)))
    with pytest.raises(InputError, match="cannot be read as a recording"):
        list(blocks(path))
    assert came == []


@pytest.mark.parametrize("name", ["a.zip", "a.tar.gz", "a.wav.zip", "a.7z", "a.html", "a.svg", "a.m3u8", "a"])
def test_archives_pages_and_lists_are_refused_before_a_byte_is_sent(store: Store, name: str) -> None:
    with pytest.raises(InputError, match="neither a sound recording nor a transcript"):
        store.uploads.begin(name, 10, "ann")


@pytest.mark.parametrize("name", ["../../etc/passwd.wav", "..\\..\\x.wav", "/root/.ssh/id.wav", "a/\x00b.wav", "~.wav"])
def test_a_name_is_never_a_path(store: Store, name: str) -> None:
    before = set(store.place.home.parent.rglob("*"))
    uploaded(store, name, b"sound")
    made = set(store.place.home.parent.rglob("*")) - before
    assert {path.parent for path in made if path.is_file()} == {store.uploads.folder}
    assert all(path.stem.isalnum() for path in made if path.is_file())


def test_no_address_serves_a_folder_of_uploads() -> None:
    from starlette.routing import Route

    assert all(isinstance(route, Route) for route in ROUTES)
