"""What goes out of the shop: dates for a calendar (iCalendar), a mail draft with the customer's paper."""

from __future__ import annotations

import hashlib
import re
from email.message import EmailMessage
from email.policy import SMTP

from pipeline.draft import Draft
from pipeline.render.paper_view import PaperView

ISO_DATE = re.compile(r"(\d{4})-(\d{2})-(\d{2})")
LINE_OCTETS = 75
"""Longest line of a calendar file (RFC 5545, 3.1)."""


def dated(draft: Draft) -> bool:
    """Whether a follow-up has a date that is certain."""
    return any(one.date and ISO_DATE.match(one.date) for one in draft.follow_ups)


def calendar(view: PaperView) -> bytes:
    """Follow-ups with a date as whole-day events, the same bytes for the same draft (RFC 5545)."""
    draft = view.draft
    lines = ["BEGIN:VCALENDAR", "VERSION:2.0", "PRODID:-//jobtape//papers//EN", "CALSCALE:GREGORIAN"]
    where = ", ".join(said.value for said in (draft.visit.customer, draft.visit.site) if said is not None)
    source = "".join(one.sha256 for one in draft.recordings)
    for number, one in enumerate(draft.follow_ups):
        found = ISO_DATE.match(one.date or "")
        if not found:
            continue
        day = "".join(found.groups())
        name = hashlib.sha256(f"{source}|{number}|{one.text}|{day}".encode()).hexdigest()[:32]
        lines += [
            "BEGIN:VEVENT",
            f"UID:{name}@jobtape",
            # No clock of this machine in the file: the stamp is the day itself.
            f"DTSTAMP:{day}T000000Z",
            f"DTSTART;VALUE=DATE:{day}",
            f"SUMMARY:{_calendar_text(f'{one.text} ({view.machine})')}",
        ]
        if where:
            lines.append(f"LOCATION:{_calendar_text(where)}")
        if one.when:
            lines.append(f"DESCRIPTION:{_calendar_text(view.words('sentence.quoted', text=one.when))}")
        lines.append("END:VEVENT")
    lines.append("END:VCALENDAR")
    return b"".join(_folded(line) for line in lines)


def _calendar_text(text: str) -> str:
    """A text value: commas, semicolons, backslashes and line breaks escaped (RFC 5545, 3.3.11)."""
    plain = re.sub(r"[\x00-\x08\x0b-\x1f\x7f]", "", text.replace("\r\n", "\n"))
    return re.sub(r"([\\;,])", r"\\\1", plain).replace("\n", "\\n").replace("\t", " ")


def _folded(line: str) -> bytes:
    """A line in pieces of at most 75 octets that cut no character."""
    pieces: list[bytes] = []
    piece = b""
    for letter in line:
        octets = letter.encode("utf-8")
        room = LINE_OCTETS - (1 if pieces else 0)
        if len(piece) + len(octets) > room:
            pieces.append(piece)
            piece = b""
        piece += octets
    pieces.append(piece)
    return b"\r\n ".join(pieces) + b"\r\n"


def mail(view: PaperView, pdf: bytes) -> bytes:
    """A mail that is not sent yet: the summary as text, the customer's paper attached. No address is made up."""
    words, shop = view.words, view.shop
    subject = view.document_title
    if view.is_draft:
        subject = f"{words('draft.not_for_sending')}: {subject}"
    message = EmailMessage(policy=SMTP.clone(max_line_length=200))
    message["Subject"] = _header(subject)
    if re.fullmatch(r"[^@\s<>,;:\"]+@[^@\s<>,;:\"]+", shop.email):
        message["From"] = shop.email
    message["X-Unsent"] = "1"
    parts = [words("mail.greeting"), words("mail.attached")]
    parts += [view.open_line, view.summary, shop.closing, "\n".join(part for part in (shop.name, shop.phone) if part)]
    message.set_content("\n\n".join(part for part in parts if part))
    message.add_attachment(pdf, maintype="application", subtype="pdf", filename=f"{words('mail.file')}.pdf")
    message.set_boundary("=_" + hashlib.sha256(pdf).hexdigest()[:40])
    return message.as_bytes()


def _header(text: str) -> str:
    """A header's text on one line."""
    return re.sub(r"[\x00-\x1f\x7f]+", " ", text)[:150]
