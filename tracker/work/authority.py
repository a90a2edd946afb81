"""The shop's own authority, as its folder keeps it: what a tablet takes to trust the service, never the key.

It has name constraints (RFC 5280, 4.2.1.10): it vouches for the shop's names and private addresses and for nothing
else, even if its key is stolen.
"""

import ssl
from binascii import Error
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from typing import Final

AUTHORITY_FILE: Final = "authority.crt"


@dataclass(frozen=True, slots=True, kw_only=True)
class Authority:
    """The authority's certificate, as PEM, and its SHA-256 fingerprint: pairs of digits with colons between."""

    pem: bytes
    fingerprint: str


def tls_folder(data_dir: Path) -> Path:
    """Return where a shop keeps its authority and, unless told otherwise, its server's certificate."""
    return data_dir / "tls"


def kept_authority(data_dir: Path) -> Authority | None:
    """Return the shop's authority; None where there is none, or none that can be read."""
    try:
        pem = (tls_folder(data_dir) / AUTHORITY_FILE).read_bytes()
        return Authority(pem=pem, fingerprint=fingerprint(pem))
    except (OSError, ValueError, Error):
        return None


def fingerprint(pem: bytes) -> str:
    """Return the SHA-256 fingerprint of a certificate in PEM. Raises ValueError for anything else."""
    return sha256(ssl.PEM_cert_to_DER_cert(pem.decode("ascii").strip())).digest().hex(":").upper()
