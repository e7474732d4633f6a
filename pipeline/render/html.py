"""Papers as HTML: sandboxed templates, ours or the shop's own of the same name, filled from a view."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipeline.errors import AuthoringError
from pipeline.render.places import find, template_folder
from pipeline.render.tree import printable

if TYPE_CHECKING:
    from jinja2.sandbox import SandboxedEnvironment


@lru_cache(maxsize=16)
def environment(own: Path | None) -> SandboxedEnvironment:
    """The templates' environment: HTML escapes, a name that nobody defined is an error, code has no way out.

    The shop's own folder comes first, so that a file of the same name takes the place of ours.
    """
    from jinja2 import FileSystemLoader, StrictUndefined, select_autoescape
    from jinja2.sandbox import ImmutableSandboxedEnvironment

    folders = [str(folder) for folder in (own, template_folder()) if folder is not None]
    return ImmutableSandboxedEnvironment(
        loader=FileSystemLoader(folders),
        undefined=StrictUndefined,
        autoescape=select_autoescape(enabled_extensions=("html.j2", "svg.j2"), default_for_string=True, default=False),
        trim_blocks=True,
        keep_trailing_newline=True,
        finalize=_for_paper,
    )


def _for_paper(value: object) -> object:
    """What a template prints, without the characters that no paper can hold."""
    from markupsafe import Markup

    return printable(value) if isinstance(value, str) and not isinstance(value, Markup) else value


def fill(name: str, own: Path | None, **values: Any) -> str:
    """A template filled. Raises AuthoringError with the file and the line where it is wrong."""
    from jinja2 import TemplateError, TemplateSyntaxError

    try:
        return environment(own).get_template(name).render(**values)
    except TemplateSyntaxError as fault:
        raise _wrong(f"{fault.filename or name}, line {fault.lineno}", str(fault.message)) from fault
    except (TemplateError, AttributeError, TypeError, ValueError, KeyError) as fault:
        raise _wrong(_line_in_template(fault, name), str(fault)) from fault


def style(own: Path | None) -> str:
    """The style sheet of the papers."""
    return find("paper.css", own).read_text(encoding="utf-8")


def _wrong(where: str, what: str) -> AuthoringError:
    return AuthoringError(
        "template-wrong", f"The template {where} cannot be filled: {what}.", "Correct that line, or remove the file."
    )


def _line_in_template(fault: BaseException, name: str) -> str:
    """File and line of the innermost template frame of a traceback; the name alone where there is none."""
    where, trace = name, fault.__traceback__
    while trace is not None:
        file = trace.tb_frame.f_code.co_filename
        if file.endswith(".j2"):
            where = f"{file}, line {trace.tb_lineno}"
        trace = trace.tb_next
    return where
