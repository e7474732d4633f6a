"""Who may sign in: names, roles, and passwords kept as argon2id hashes."""

from __future__ import annotations

import hashlib
import secrets
import unicodedata
from datetime import UTC, datetime, timedelta
from functools import cache
from typing import TYPE_CHECKING, Literal, get_args

from sqlalchemy import delete, func, select
from sqlalchemy.orm import Session

from pipeline.errors import InputError
from pipeline.store.store import new_id, note
from pipeline.store.tables_people import PersonRow, ServiceNameRow, SessionRow, UploadTokenRow

if TYPE_CHECKING:
    from argon2 import PasswordHasher

Role = Literal["technician", "office", "owner"]
ROLES: tuple[Role, ...] = get_args(Role)

SHORTEST, LONGEST = 12, 256
GUESSES = 1e8
"""So many guesses by the estimate of zxcvbn a password must stand: its step "safely unguessable" against throttling."""
START_DAYS = 3


def present() -> datetime:
    """The present moment, in UTC: the one clock of sessions, waits and codes."""
    return datetime.now(UTC)


def moment(after: timedelta = timedelta()) -> str:
    """The present moment or one from it, as all moments of the store: ISO 8601 in UTC, to the second."""
    return (present() + after).strftime("%Y-%m-%dT%H:%M:%SZ")


def key_of(name: str) -> str:
    """A name as it is compared: without case, accents and outer spaces."""
    plain = unicodedata.normalize("NFKD", " ".join(name.split())).casefold()
    return "".join(letter for letter in plain if not unicodedata.combining(letter))[:64]


def digest(secret: str) -> str:
    """How a random secret of ours is kept: its SHA-256. It has 256 bits, so no slow hash is needed."""
    return hashlib.sha256(secret.encode()).hexdigest()


@cache
def hasher() -> PasswordHasher:
    """Argon2id with the library's settings (RFC 9106, second recommended: 64 MiB, three passes, four lanes)."""
    from argon2 import PasswordHasher

    return PasswordHasher()


@cache
def _nobody() -> str:
    return hasher().hash(secrets.token_urlsafe(32))


def verified(person: PersonRow | None, password: str) -> bool:
    """Whether this is the person's password. The same work is done when there is nobody of that name."""
    from argon2.exceptions import InvalidHashError, VerificationError

    kept = person.password if person is not None and not person.disabled else _nobody()
    try:
        hasher().verify(kept, password[: LONGEST + 1])
    except (VerificationError, InvalidHashError):
        return False
    return person is not None and not person.disabled


def checked_password(password: str, name: str) -> str:
    """The password. Raises InputError for one that is too short, too long, or easily guessed."""
    from zxcvbn import zxcvbn

    if not SHORTEST <= len(password) <= LONGEST:
        raise InputError(
            "weak-password",
            f"A password has at least {SHORTEST} characters and at most {LONGEST}.",
            "Take a sentence of four or five words; any signs and spaces will do.",
        )
    # The estimate knows 30,000 common passwords, names, dates, keyboard rows and repetitions.
    found = zxcvbn(password[:72], user_inputs=[name, *name.split(), "jobtape"])
    if found["guesses"] < GUESSES:
        raise InputError(
            "weak-password",
            "That password is among those that are guessed first.",
            "Take a sentence of four or five words that do not belong together.",
        )
    return password


def no_such_person(name: str) -> InputError:
    """The error for a name that nobody has."""
    fault = InputError("no-such-person", f"Nobody here is called {name}.", "See the names with: jobtape people list")
    fault.http_status = 404
    return fault


def person_named(session: Session, name: str) -> PersonRow | None:
    """The person of a name, in any case."""
    return session.scalar(select(PersonRow).where(PersonRow.key == key_of(name)))


def person(session: Session, name: str) -> PersonRow:
    """The person of a name. Raises InputError when there is none."""
    found = person_named(session, name)
    if found is None:
        raise no_such_person(name)
    return found


def listed(session: Session) -> list[PersonRow]:
    """Everybody, by name."""
    return list(session.scalars(select(PersonRow).order_by(PersonRow.key)))


def add(session: Session, name: str, role: str, password: str, who: str, *, start: bool = False) -> PersonRow:
    """Lets somebody in. With `start` the password is one that was shown to somebody else: it must be changed soon.

    Raises InputError for a name that cannot be or is taken, an unknown role, and a weak password.
    """
    name = " ".join(name.split())
    if not 2 <= len(name) <= 40 or not name.isprintable() or not key_of(name):
        raise InputError("wrong-name", "A name has 2 to 40 letters.", "Take the name that shall stand beside edits.")
    if person_named(session, name) is not None:
        raise InputError("name-taken", f"There is somebody called {name} already.", "Take another name.")
    row = PersonRow(
        id=new_id(),
        name=name,
        key=key_of(name),
        role=checked_role(role),
        password=hasher().hash(checked_password(password, name)),
        start_until=moment(timedelta(days=START_DAYS)) if start else None,
        disabled=False,
        totp="",
        totp_step=0,
    )
    session.add(row)
    session.flush()
    note(session, who, "person:add", detail=f"{name}, {role}")
    return row


def checked_role(said: str) -> Role:
    """A role. Raises InputError for any other word."""
    for role in ROLES:
        if said == role:
            return role
    raise InputError("unknown-role", f"There is no role {said!r}.", f"Take one of {', '.join(ROLES)}.")


def set_password(session: Session, row: PersonRow, password: str, who: str, *, start: bool = False) -> None:
    """Another password: every browser is signed out, and no account of a sign-in service opens any more.

    Raises InputError for a weak one.
    """
    row.password = hasher().hash(checked_password(password, row.name))
    row.start_until = moment(timedelta(days=START_DAYS)) if start else None
    sign_out_everywhere(session, row)
    session.execute(delete(ServiceNameRow).where(ServiceNameRow.person_id == row.id))
    note(session, who, "person:password", detail=row.name)


def set_role(session: Session, row: PersonRow, role: str, who: str) -> None:
    """Another role, from the next request on. Raises InputError when nobody would be owner any more."""
    if checked_role(role) != "owner":
        _keep_an_owner(session, row)
    row.role = role
    note(session, who, "person:role", detail=f"{row.name}, {role}")


def set_disabled(session: Session, row: PersonRow, disabled: bool, who: str) -> None:
    """Shuts somebody out at once, with all browsers and scripts, or lets him in again.

    Raises InputError when nobody would be owner any more.
    """
    if disabled:
        _keep_an_owner(session, row)
        sign_out_everywhere(session, row)
        session.execute(delete(UploadTokenRow).where(UploadTokenRow.person_id == row.id))
    row.disabled = disabled
    note(session, who, "person:disable" if disabled else "person:enable", detail=row.name)


def sign_out_everywhere(session: Session, row: PersonRow) -> None:
    """Ends all sessions of a person."""
    session.execute(delete(SessionRow).where(SessionRow.person_id == row.id))


def start_password() -> str:
    """A random password to begin with: 80 bits in four groups of letters that are hard to mix up."""
    letters = "abcdefghjkmnpqrstuvwxyz23456789"
    return "-".join("".join(secrets.choice(letters) for _ in range(4)) for _ in range(4))


def owners(session: Session) -> int:
    """How many owners may sign in."""
    count = select(func.count()).select_from(PersonRow)
    return session.scalar(count.where(PersonRow.role == "owner", PersonRow.disabled.is_(False))) or 0


def _keep_an_owner(session: Session, row: PersonRow) -> None:
    if row.role == "owner" and not row.disabled and owners(session) <= 1:
        raise InputError("last-owner", f"{row.name} is the only owner.", "Make somebody else an owner first.")
