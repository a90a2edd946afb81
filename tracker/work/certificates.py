"""Making a local authority and the server's certificate under it, by RFC 5280.

What a tablet trusts could vouch for any site in the world. This authority cannot: its own certificate names what it
may vouch for, the shop's names and addresses of private networks, and nothing else is accepted from it.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from ipaddress import IPv4Network, IPv6Network, ip_address, ip_network
from pathlib import Path
from typing import Final

from cryptography import x509
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.serialization import (
    Encoding,
    NoEncryption,
    PrivateFormat,
    load_pem_private_key,
)
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from tracker.files import put_file
from tracker.shop.errors import Fault, InvalidInputError
from tracker.work.authority import AUTHORITY_FILE, fingerprint

AUTHORITY_LIFE: Final = timedelta(days=3650)
# Browsers refuse a server's certificate of more than 398 days (common practice since 2020; from memory).
SERVER_LIFE: Final = timedelta(days=397) - timedelta(seconds=1)  # both ends count, RFC 5280, 4.1.2.5
_CLOCKS_DIFFER: Final = timedelta(hours=1)  # a tablet that is a little behind must not find it "not yet valid"
MOST_NAMES: Final = 100
_LABEL: Final = re.compile(r"(?!-)[a-z0-9-]{1,63}(?<!-)", re.ASCII)
# RFC 1918, 3927, 1122 (own machine); RFC 4193, 4291. In anybody's network they mean a machine nearby.
_PRIVATE: Final = (
    "10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16", "169.254.0.0/16", "127.0.0.0/8",
    "fc00::/7", "fe80::/10", "::1/128",
)  # fmt: skip
# RFC 6761, 6762, 8375; "internal" is set aside by ICANN; "lan" is common practice.
_LOCAL: Final = ("localhost", "local", "home.arpa", "internal", "lan")

_ANEW: Final = "make a new one with --new-authority, which each tablet must then trust anew"
_AUTHORITY_KEY: Final = "authority.key"
_SERVER: Final = "server.crt"
_SERVER_KEY: Final = "server.key"


@dataclass(frozen=True, slots=True, kw_only=True)
class Made:
    """The server's certificate and key, what it is for, until when; and the authority that vouches for it."""

    certificate: Path
    key: Path
    names: tuple[str, ...]
    ends: datetime
    authority: Path
    fingerprint: str
    authority_is_new: bool


@dataclass(frozen=True, slots=True)
class _Signer:
    certificate: x509.Certificate
    key: ec.EllipticCurvePrivateKey


def make_certificate(
    folder: Path, names: Sequence[str], *, now: datetime, out: Path | None = None, new_authority: bool = False
) -> Made:
    """Make the server's certificate for these names and addresses, under the authority that ``folder`` keeps.

    The authority is made when there is none, or when a new one is wished. Without names the certificate that is there
    is renewed for its own. ``out`` is where certificate and key go, ``folder`` if not given; a key is readable by its
    owner alone (on Windows: by whoever may read the folder). Raises InvalidInputError for a name that is none, for
    one that the authority may not vouch for, and for an authority that cannot be used.
    """
    out = out or folder
    wanted = _read_names(names or _names_of(out / _SERVER))
    for each in (folder, out):
        each.mkdir(mode=0o700, parents=True, exist_ok=True)
    is_new = new_authority or not (folder / AUTHORITY_FILE).exists()
    signer = _new_authority(wanted, now) if is_new else _kept_signer(folder, now)
    _refuse_foreign(signer.certificate, wanted)
    key = ec.generate_private_key(ec.SECP256R1())
    certificate = _server_certificate(signer, key, wanted, now)
    if is_new:
        put_file(folder / _AUTHORITY_KEY, _pem_of(signer.key), mode=0o600)
        put_file(folder / AUTHORITY_FILE, signer.certificate.public_bytes(Encoding.PEM))
    put_file(out / _SERVER_KEY, _pem_of(key), mode=0o600)
    put_file(out / _SERVER, certificate.public_bytes(Encoding.PEM))
    return Made(
        certificate=out / _SERVER,
        key=out / _SERVER_KEY,
        names=tuple(str(name.value) for name in wanted),
        ends=certificate.not_valid_after_utc,
        authority=folder / AUTHORITY_FILE,
        fingerprint=fingerprint(signer.certificate.public_bytes(Encoding.PEM)),
        authority_is_new=is_new,
    )


def _read_names(names: Sequence[str]) -> list[x509.DNSName | x509.IPAddress]:
    if len(names) > MOST_NAMES:
        raise InvalidInputError(f"A certificate is for at most {MOST_NAMES} names and addresses, not {len(names)}.")
    read = {name: _read_name(name) for name in dict.fromkeys(name.strip().lower().rstrip(".") for name in names)}
    faults = [
        Fault(where={"name": name[:80]}, what="is no name such as shop-server and no address such as 192.168.1.20")
        for name, what in read.items()
        if what is None
    ]
    if faults:
        raise InvalidInputError("Give names and addresses alone, without https:// and without a port.", faults)
    return [what for what in read.values() if what is not None]


def _read_name(name: str) -> x509.DNSName | x509.IPAddress | None:
    try:
        return None if "%" in name else x509.IPAddress(ip_address(name))  # a zone means this machine alone
    except ValueError:
        labels = name.split(".")
        right = all(_LABEL.fullmatch(label) for label in labels) and not labels[-1].isdigit()
        return x509.DNSName(name) if right and len(name) <= 253 else None


def _names_of(certificate: Path) -> list[str]:
    try:
        kept = x509.load_pem_x509_certificate(certificate.read_bytes())
        return [str(name.value) for name in kept.extensions.get_extension_for_class(x509.SubjectAlternativeName).value]
    except (OSError, ValueError, x509.ExtensionNotFound):
        told = "Say by which names and addresses the service is reached, such as: tracker tls shop-server 192.168.1.20"
        raise InvalidInputError(told) from None


def _new_authority(names: Sequence[x509.DNSName | x509.IPAddress], now: datetime) -> _Signer:
    key = ec.generate_private_key(ec.SECP256R1())
    title = f"Shop authority of {names[0].value}"[:50] + f", {now.date()}"
    itself = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, title)])
    builder = _certificate(itself, itself, key, now, now + AUTHORITY_LIFE)
    builder = builder.add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
    builder = builder.add_extension(_usage(signs_certificates=True), critical=True)
    builder = builder.add_extension(x509.NameConstraints(_permitted(names), None), critical=True)
    return _Signer(builder.sign(key, hashes.SHA256()), key)


def _permitted(names: Sequence[x509.DNSName | x509.IPAddress]) -> list[x509.GeneralName]:
    own = [name.value for name in names if isinstance(name, x509.DNSName)]
    addresses = [ip_network(name.value) for name in names if isinstance(name, x509.IPAddress)]
    networks = dict.fromkeys([*map(ip_network, _PRIVATE), *addresses])
    return [*map(x509.DNSName, dict.fromkeys([*own, *_LOCAL])), *map(x509.IPAddress, networks)]


def _server_certificate(
    signer: _Signer, key: ec.EllipticCurvePrivateKey, names: Sequence[x509.GeneralName], now: datetime
) -> x509.Certificate:
    # Not a host's name: those stand in the alternative names, and one here would be judged as one, too.
    title = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "Flat-pack tracker server")])
    ends = min(now - _CLOCKS_DIFFER + SERVER_LIFE, signer.certificate.not_valid_after_utc)
    builder = _certificate(title, signer.certificate.subject, key, now, ends)
    builder = builder.add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
    builder = builder.add_extension(_usage(signs_certificates=False), critical=True)
    builder = builder.add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
    builder = builder.add_extension(x509.SubjectAlternativeName(names), critical=False)
    issuer = x509.AuthorityKeyIdentifier.from_issuer_public_key(signer.key.public_key())
    return builder.add_extension(issuer, critical=False).sign(signer.key, hashes.SHA256())


def _certificate(
    subject: x509.Name, issuer: x509.Name, key: ec.EllipticCurvePrivateKey, now: datetime, ends: datetime
) -> x509.CertificateBuilder:
    return (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(issuer)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - _CLOCKS_DIFFER)
        .not_valid_after(ends)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
    )


def _usage(*, signs_certificates: bool) -> x509.KeyUsage:
    return x509.KeyUsage(
        digital_signature=not signs_certificates,
        key_cert_sign=signs_certificates,
        crl_sign=signs_certificates,
        content_commitment=False,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        encipher_only=False,
        decipher_only=False,
    )


def _kept_signer(folder: Path, now: datetime) -> _Signer:
    try:
        certificate = x509.load_pem_x509_certificate((folder / AUTHORITY_FILE).read_bytes())
        key = load_pem_private_key((folder / _AUTHORITY_KEY).read_bytes(), password=None)
    except (OSError, ValueError, TypeError) as error:
        told = f"The authority in {folder} cannot be read ({error}). Put its files back, or {_ANEW}."
        raise InvalidInputError(told) from error
    if not isinstance(key, ec.EllipticCurvePrivateKey) or key.public_key() != certificate.public_key():
        raise InvalidInputError(f"The authority's key in {folder} is not that of its certificate: put its files back.")
    if certificate.not_valid_after_utc <= now:
        raise InvalidInputError(f"The authority ended on {certificate.not_valid_after_utc.date()}: {_ANEW}.")
    return _Signer(certificate, key)


def _refuse_foreign(authority: x509.Certificate, names: Sequence[x509.DNSName | x509.IPAddress]) -> None:
    may = authority.extensions.get_extension_for_class(x509.NameConstraints).value.permitted_subtrees or []
    faults = [
        Fault(where={"name": str(name.value)}, what="is not among the names that this authority was made for")
        for name in names
        if not any(_covers(each, name) for each in may)
    ]
    if faults:
        raise InvalidInputError(f"The authority may not vouch for this: {_ANEW}.", faults)


def _covers(permitted: x509.GeneralName, name: x509.DNSName | x509.IPAddress) -> bool:
    if isinstance(name, x509.DNSName):
        return isinstance(permitted, x509.DNSName) and f".{name.value}".endswith(f".{permitted.value}")
    within = permitted.value if isinstance(permitted, x509.IPAddress) else None
    return isinstance(within, IPv4Network | IPv6Network) and name.value in within


def _pem_of(key: ec.EllipticCurvePrivateKey) -> bytes:
    return key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())
