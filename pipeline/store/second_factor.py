"""The second factor: one-time codes by time (RFC 6238) as phones make them, and codes for the day a phone is lost."""

from __future__ import annotations

import base64
import hashlib
import hmac
import secrets
from urllib.parse import quote

from sqlalchemy import delete
from sqlalchemy.orm import Session

from pipeline.store import people
from pipeline.store.people import digest
from pipeline.store.store import note
from pipeline.store.tables_people import PersonRow, RecoveryRow

STEP_S = 30
DIGITS = 6
LEEWAY = 1
"""Steps before and after the present one that are taken: a phone's clock may be half a minute off."""
RECOVERY_CODES = 10


def code_at(secret: bytes, step: int, digits: int = DIGITS) -> str:
    """The code of a time step (RFC 4226 with the step as counter, HMAC-SHA-1 as phones know it)."""
    mac = hmac.new(secret, step.to_bytes(8, "big"), hashlib.sha1).digest()
    at = mac[-1] & 0x0F
    number = int.from_bytes(mac[at : at + 4], "big") & 0x7FFFFFFF
    return str(number % 10**digits).zfill(digits)


def new_secret() -> str:
    """A fresh secret, 160 bits as RFC 4226 advises, in base32."""
    return base64.b32encode(secrets.token_bytes(20)).decode()


def address_of(secret: str, name: str) -> str:
    """What a code app reads: the secret with whose and which program's it is."""
    return f"otpauth://totp/jobtape:{quote(name)}?secret={secret}&issuer=jobtape&digits={DIGITS}&period={STEP_S}"


def step_of(secret: str, code: str, after: int, moment: float | None = None) -> int | None:
    """The time step whose code this is, none when it is wrong or not later than the step `after`, used before."""
    key = base64.b32decode(secret)
    now = int((people.present().timestamp() if moment is None else moment) // STEP_S)
    found = None
    for step in range(now - LEEWAY, now + LEEWAY + 1):
        if hmac.compare_digest(code_at(key, step).encode(), code.encode()) and step > after:
            found = step
    return found


def passes(session: Session, person: PersonRow, code: str) -> bool:
    """Whether a person may pass with this code: true without a second factor; every code works once."""
    if not person.totp:
        return True
    plain = "".join(code.split()).lower()
    step = step_of(person.totp, plain, person.totp_step)
    if step is not None:
        person.totp_step = step
        return True
    kept = session.get(RecoveryRow, digest(plain.replace("-", "")))
    if kept is None or kept.person_id != person.id:
        return False
    session.delete(kept)
    note(session, person.name, "recovery code used")
    return True


def switch_on(session: Session, person: PersonRow, secret: str, code: str) -> list[str] | None:
    """Sets the second factor when the code shows that the phone has it; gives the recovery codes, None else."""
    step = step_of(secret, "".join(code.split()), 0)
    if step is None:
        return None
    person.totp, person.totp_step = secret, step
    codes = [f"{secrets.token_hex(4)}-{secrets.token_hex(4)}" for _ in range(RECOVERY_CODES)]
    session.execute(delete(RecoveryRow).where(RecoveryRow.person_id == person.id))
    for made in codes:
        session.add(RecoveryRow(code=digest(made.replace("-", "")), person_id=person.id))
    note(session, person.name, "second factor on")
    return codes


def switch_off(session: Session, person: PersonRow, who: str) -> None:
    """Takes the second factor away, with its recovery codes."""
    person.totp, person.totp_step = "", 0
    session.execute(delete(RecoveryRow).where(RecoveryRow.person_id == person.id))
    note(session, who, "second factor off", detail=person.name)
