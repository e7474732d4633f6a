"""Photos on paper: upright, of moderate size, without the camera's notes; what is no picture costs no paper."""

from __future__ import annotations

import io
import zipfile
from fractions import Fraction
from pathlib import Path

import pytest
from render_drafts import draft

from pipeline.draft import Draft, Photo
from pipeline.render import paper
from pipeline.render.pictures import LONGEST_SIDE, photo


def jpeg(width: int, height: int, orientation: int = 1) -> bytes:
    """A picture, dark above and light below, with a camera's notes: its orientation and a place."""
    import av
    import numpy

    pixels = numpy.full((height, width, 3), 230, dtype=numpy.uint8)
    pixels[: height // 2] = 20
    frame = av.VideoFrame.from_ndarray(pixels, format="rgb24").reformat(format="yuvj420p")
    encoder = av.CodecContext.create("mjpeg", "w")
    encoder.width, encoder.height, encoder.pix_fmt, encoder.time_base = width, height, "yuvj420p", Fraction(1, 1)
    frame.pts = 0
    data = b"".join(bytes(packet) for packet in [*encoder.encode(frame), *encoder.encode(None)])
    # Exif 2.3: TIFF header, one directory with tag 0x0112 (orientation) and 0x010e (description).
    note = b"secret place 48.2N 16.4E"
    tiff = b"MM\x00\x2a\x00\x00\x00\x08\x00\x02"
    tiff += b"\x01\x0e\x00\x02" + len(note).to_bytes(4, "big") + (38).to_bytes(4, "big")
    tiff += b"\x01\x12\x00\x03\x00\x00\x00\x01" + orientation.to_bytes(2, "big") + b"\x00\x00" + b"\x00\x00\x00\x00"
    body = b"Exif\x00\x00" + tiff + note
    return data[:2] + b"\xff\xe1" + (len(body) + 2).to_bytes(2, "big") + body + data[2:]


def pixels_of(data: bytes) -> object:
    import av

    with av.open(io.BytesIO(data)) as container:
        return next(container.decode(video=0)).to_ndarray(format="gray")


def taken(folder: Path, data: bytes) -> bytes:
    path = folder / "photo.jpg"
    path.write_bytes(data)
    made = photo(path)
    assert made is not None
    return made


def test_large_photo_is_scaled_and_its_notes_are_gone(tmp_path: Path) -> None:
    made = taken(tmp_path, jpeg(3000, 2000))
    drawn = pixels_of(made)

    assert max(drawn.shape) == LONGEST_SIDE
    assert b"secret" not in made
    assert b"Exif" not in made


@pytest.mark.parametrize(
    ("orientation", "dark"),
    [(1, "top"), (3, "bottom"), (6, "right"), (8, "left")],
)
def test_photo_stands_upright(tmp_path: Path, orientation: int, dark: str) -> None:
    """Exif 2.3, tag 0x0112: 3 is half a turn, 6 a quarter turn clockwise, 8 counter-clockwise, to see it right."""
    drawn = pixels_of(taken(tmp_path, jpeg(400, 200, orientation)))
    height, width = drawn.shape
    spots = {
        "top": drawn[: height // 4].mean(),
        "bottom": drawn[-height // 4 :].mean(),
        "left": drawn[:, : width // 4].mean(),
        "right": drawn[:, -width // 4 :].mean(),
    }

    assert min(spots, key=lambda name: spots[name]) == dark
    assert (width > height) == (orientation in (1, 3))


@pytest.mark.parametrize("data", [b"", b"no picture", b"\xff\xd8\xff" + b"\x00" * 99, b"%PDF-1.7"])
def test_what_is_no_picture_is_left_out_and_named(tmp_path: Path, data: bytes) -> None:
    (tmp_path / "plate.jpg").write_bytes(data)
    job = Draft(photos=(Photo(file="plate.jpg", sha256="0" * 64, caption="nameplate"),))

    assert photo(tmp_path / "plate.jpg") is None
    assert b"The picture plate.jpg could not be read." in paper(job, "customer", "html", folder=tmp_path)


def test_photo_stands_in_every_form_with_its_caption_and_second(tmp_path: Path) -> None:
    import docx
    from pypdf import PdfReader

    (tmp_path / "plate.jpg").write_bytes(jpeg(400, 300))
    shown = Photo(file="plate.jpg", sha256="0" * 64, caption="burnt contactor", at=351.0)
    job = draft("walkin-roof-start-gear").model_copy(update={"photos": (shown,)})
    page = paper(job, "customer", "html", folder=tmp_path).decode()
    document = docx.Document(io.BytesIO(paper(job, "customer", "docx", folder=tmp_path)))
    sheets = PdfReader(io.BytesIO(paper(job, "customer", "pdf", folder=tmp_path))).pages

    assert 'src="data:image/jpeg;base64,' in page
    assert 'alt="Burnt contactor"' in page
    assert "Burnt contactor, 5:51" in page
    assert any("Burnt contactor" in (shape._inline.docPr.get("descr") or "") for shape in document.inline_shapes)
    assert sum(len(sheet.images) for sheet in sheets) == 1
    with zipfile.ZipFile(io.BytesIO(paper(job, "report", "docx", folder=tmp_path))) as archive:
        assert any(name.endswith(".jpg") for name in archive.namelist())


def test_photo_outside_the_folder_is_no_way_to_other_files(tmp_path: Path) -> None:
    inside = tmp_path / "job"
    inside.mkdir()
    (tmp_path / "private.jpg").write_bytes(jpeg(40, 30))
    job = Draft(photos=(Photo(file="../private.jpg", sha256="0" * 64),))

    assert b"could not be read" in paper(job, "customer", "html", folder=inside)
