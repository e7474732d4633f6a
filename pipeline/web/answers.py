"""Answers: pages from templates, errors as one sentence in JSON or on a page, files with names that cannot harm."""

from __future__ import annotations

import json
import re
from functools import cache, partial
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import quote

from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, Response

from pipeline.errors import InputError, ReportError
from pipeline.web.people import viewer
from pipeline.web.rules import may_go

if TYPE_CHECKING:
    from jinja2 import Environment

HERE = Path(__file__).parent
LARGEST_JSON = 1 << 20


@cache
def templates() -> Environment:
    """The templates of the pages: everything escaped, a name that nobody defined is an error."""
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    from pipeline.versions import whole
    from pipeline.words.figures import clock

    made = Environment(
        loader=FileSystemLoader(HERE / "pages"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        # They come with the program and do not change under it.
        auto_reload=False,
    )
    made.globals["version"] = whole()
    made.globals["clock"] = clock
    made.filters["plainly"] = lambda text: str(text).replace("_", " ")
    made.filters["day"] = day_text
    made.filters["json"] = lambda value: json.dumps(value, ensure_ascii=False)
    return made


MONTHS = (
    *("January", "February", "March", "April", "May", "June"),
    *("July", "August", "September", "October", "November", "December"),
)


def day_text(day: str | None) -> str:
    """A day in words: `14 March 2026`; empty for none."""
    found = re.match(r"(\d{4})-(\d{2})-(\d{2})", day or "")
    return f"{int(found[3])} {MONTHS[int(found[2]) - 1]} {found[1]}" if found else ""


def page(request: Request, name: str, status: int = 200, **values: Any) -> HTMLResponse:
    """A page from its template. Only links to what its person may open are drawn."""
    user, state = viewer(request), request.scope.get("state", {})
    html = (
        templates()
        .get_template(f"{name}.html.j2")
        .render(
            user=user,
            may_go=partial(may_go, user),
            form_token=state.get("form_token", ""),
            signs_in=state.get("signs_in", False),
            **values,
        )
    )
    return HTMLResponse(html, status_code=status)


def block(name: str, part: str, **values: Any) -> str:
    """One block of a template on its own."""
    template = templates().get_template(f"{name}.html.j2")
    return "".join(template.blocks[part](template.new_context(values)))


def macros(name: str) -> Any:
    """The macros of a template, to be called by name."""
    return templates().get_template(f"{name}.html.j2").module


def wants_json(request: Request) -> bool:
    """Whether a script asks."""
    return "application/json" in request.headers.get("accept", "")


def error_answer(request: Request, fault: Exception) -> Response:
    """A fault as one sentence and what to do, as JSON for scripts and as a page for people; never a traceback."""
    if isinstance(fault, ReportError):
        status, body = fault.http_status, {"code": fault.code, "message": fault.message, "hint": fault.hint}
    else:
        status = 500
        body = {
            "code": "fault",
            "message": "A fault of the program; nothing of what you did before is lost.",
            "hint": "Reload the page. If it happens again, see the program's own messages.",
        }
    if wants_json(request) or not (request.method in ("GET", "HEAD") or "form" in request.scope.get("state", {})):
        return JSONResponse(body, status_code=status)
    return page(request, "error", status=status, fault=body)


async def json_of(request: Request) -> dict[str, Any]:
    """The JSON object that a script sent. Raises InputError when it is none, or too large."""
    body = b""
    async for piece in request.stream():
        body += piece
        if len(body) > LARGEST_JSON:
            raise InputError("too-large", "That was too much at once.", "Do it in smaller steps.")
    try:
        value = json.loads(body or b"{}")
        # Half a letter, endless numbers and NUL are legal in JSON, and no database or answer can hold them.
        if b"\\u0000" in json.dumps(value, ensure_ascii=False, allow_nan=False).encode():
            raise ValueError
    except (ValueError, RecursionError) as fault:
        raise InputError("not-json", "The page sent something unreadable.", "Reload it and try again.") from fault
    if not isinstance(value, dict):
        raise InputError("not-json", "The page sent something unreadable.", "Reload it and try again.")
    return value


TYPES = {
    ".pdf": "application/pdf",
    ".docx": "application/vnd.openxmlformats-officedocument.wordprocessingml.document",
    ".csv": "text/csv; charset=utf-8",
    ".md": "text/plain; charset=utf-8",
    ".vtt": "text/plain; charset=utf-8",
    ".json": "application/json",
}


def download(name: str, data: bytes) -> Response:
    """A file to save, never to open inside the page: HTML papers too come as something that does not run."""
    kind = TYPES.get(Path(name).suffix.lower(), "application/octet-stream")
    return Response(data, media_type=kind, headers={"content-disposition": disposition(name)})


def disposition(name: str) -> str:
    """The header that names a file to save (RFC 6266), whatever stands in the name."""
    plain = re.sub(r"[^A-Za-z0-9 ._-]", "_", name)
    return f"attachment; filename=\"{plain}\"; filename*=UTF-8''{quote(name, safe='')}"
