"""The program's own TLS certificate: made at the first start on a network, renewed before it ends."""

from __future__ import annotations

import ipaddress
import os
from collections.abc import Iterable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.errors import SetupError
from pipeline.keep import make_folder

if TYPE_CHECKING:
    from cryptography.x509 import GeneralName

GOOD_FOR = timedelta(days=397)
RENEWED_BEFORE = timedelta(days=30)


def own_certificate(folder: Path, names: Iterable[str]) -> tuple[Path, Path]:
    """Certificate and key of this store for these names and addresses; made anew when one is missing or it ends soon.

    The key can be read by this user alone. Raises SetupError when the files cannot be read or written.
    """
    certificate, key = folder / "certificate.pem", folder / "key.pem"
    wanted = sorted(set(names))
    try:
        if not (certificate.is_file() and key.is_file() and _good(certificate, wanted)):
            _make(folder, certificate, key, wanted)
    except (OSError, ValueError) as fault:
        raise SetupError(
            "no-certificate",
            f"The certificate in {folder} cannot be read or made.",
            "Remove that folder and start again, or name your own with --certificate and --key.",
        ) from fault
    return certificate, key


def fingerprint(certificate: Path) -> str:
    """The certificate's SHA-256 as browsers show it, to compare by eye."""
    from cryptography import x509
    from cryptography.hazmat.primitives.hashes import SHA256

    digest = x509.load_pem_x509_certificate(certificate.read_bytes()).fingerprint(SHA256())
    return ":".join(f"{byte:02X}" for byte in digest)


def _good(certificate: Path, wanted: list[str]) -> bool:
    from cryptography import x509

    found = x509.load_pem_x509_certificate(certificate.read_bytes())
    named = found.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    held = {*named.get_values_for_type(x509.DNSName), *map(str, named.get_values_for_type(x509.IPAddress))}
    return set(wanted) <= held and found.not_valid_after_utc - datetime.now(UTC) > RENEWED_BEFORE


def _make(folder: Path, certificate: Path, key: Path, names: list[str]) -> None:
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes, serialization
    from cryptography.hazmat.primitives.asymmetric import ec
    from cryptography.x509.oid import ExtendedKeyUsageOID

    private = ec.generate_private_key(ec.SECP256R1())
    now = datetime.now(UTC)
    subject = x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, "jobtape")])
    made = (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(subject)
        .public_key(private.public_key())
        .serial_number(x509.random_serial_number())
        # An hour back: the clock of a phone may be behind.
        .not_valid_before(now - timedelta(hours=1))
        .not_valid_after(now + GOOD_FOR)
        .add_extension(x509.SubjectAlternativeName([_named(name) for name in names]), critical=False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .sign(private, hashes.SHA256())
    )
    make_folder(folder)
    folder.chmod(0o700)
    key.unlink(missing_ok=True)
    secret = private.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )
    # Its rights are those of its making: there is no moment in which others could read it.
    with os.fdopen(os.open(key, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
        file.write(secret)
    certificate.write_bytes(made.public_bytes(serialization.Encoding.PEM))


def _named(name: str) -> GeneralName:
    from cryptography import x509

    try:
        return x509.IPAddress(ipaddress.ip_address(name))
    except ValueError:
        return x509.DNSName(name)
