"""What the environment decides, read once into one frozen value."""

import re
import secrets
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import date, datetime, tzinfo
from ipaddress import ip_address
from pathlib import Path
from typing import Final
from urllib.parse import urlsplit

from babel.dates import get_timezone
from babel.localtime import get_localzone
from platformdirs import user_data_path

from tracker.files import keep_private, make_file, put_file
from tracker.shop.errors import InvalidInputError, fault_at

ANY_PROXY: Final = "*"
_IN_A_FILE: Final = re.compile(r"TRACKER_[A-Z_]+_FILE")
_PLAIN: Final = re.compile(r"[!-~]+")  # an address is written in ASCII, without spaces (RFC 3986)
_KEY_FILE: Final = "secret_key"
LOG_LEVELS: Final = ("debug", "info", "warning", "error")
LOG_FORMATS: Final = ("json", "text")
_USUAL_LEVEL: Final = "info"
_USUAL_FORMAT: Final = "json"


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """Where the data lives, the key that signs sessions, and the address at which fitters reach the service, if any.

    ``timezone`` is the shop's, by its name (Europe/Madrid). ``trusted_proxy`` is the address of the proxy whose word is
    taken for who asked and whether by https; without one nobody's is. ``certificate`` and ``certificate_key`` are the
    files with which the service speaks HTTPS by itself, both or neither. ``log_level`` says from which weight on the
    service writes lines, ``log_format`` how.
    """

    data_dir: Path
    database_url: str
    secret_key: str
    site_url: str = ""
    timezone: str = "UTC"
    trusted_proxy: str = ""
    certificate: Path | None = None
    certificate_key: Path | None = None
    log_level: str = _USUAL_LEVEL
    log_format: str = _USUAL_FORMAT

    def day_of(self, moment: datetime) -> date:
        """Return the day that it is in the shop at a moment."""
        return moment.astimezone(self.zone).date()

    @property
    def zone(self) -> tzinfo:
        """The shop's time zone."""
        return get_timezone(self.timezone)

    @property
    def secret_file(self) -> Path:
        """Where the key is kept that no setting gives."""
        return self.data_dir / _KEY_FILE


def read_settings(environment: Mapping[str, str]) -> Settings:
    """Read TRACKER_DATA_DIR, _DATABASE_URL, _SECRET_KEY, _SITE_URL, _TIMEZONE, _TRUSTED_PROXY, _CERTIFICATE, _KEY,
    _LOG_LEVEL and _LOG_FORMAT, or their defaults.

    Makes the data folder, and in it the secret key, when they are absent. Raises InvalidInputError for a time zone or
    an address that is none, for an unknown word and for an empty key, and OSError for a folder or a file that cannot be
    used.
    """
    timezone = _timezone(environment.get("TRACKER_TIMEZONE") or "")
    trusted_proxy = _proxy((environment.get("TRACKER_TRUSTED_PROXY") or "").strip())
    data_dir = Path(environment.get("TRACKER_DATA_DIR") or user_data_path("flatpack-tracker"))
    data_dir.mkdir(parents=True, exist_ok=True)
    database_url = environment.get("TRACKER_DATABASE_URL") or f"sqlite:///{data_dir / 'tracker.db'}"
    site_url = _site_url((environment.get("TRACKER_SITE_URL") or "").strip())
    given_key = environment.get("TRACKER_SECRET_KEY") or ""
    secret_key = given_key if given_key.strip() else _kept_secret(data_dir / _KEY_FILE)
    return Settings(
        data_dir=data_dir,
        database_url=database_url,
        secret_key=secret_key,
        site_url=site_url,
        timezone=timezone,
        trusted_proxy=trusted_proxy,
        certificate=_file(environment.get("TRACKER_CERTIFICATE")),
        certificate_key=_file(environment.get("TRACKER_KEY")),
        log_level=_one_of(LOG_LEVELS, "TRACKER_LOG_LEVEL", environment, _USUAL_LEVEL),
        log_format=_one_of(LOG_FORMATS, "TRACKER_LOG_FORMAT", environment, _USUAL_FORMAT),
    )


def with_files(environment: Mapping[str, str]) -> Mapping[str, str]:
    """Return the settings of an environment with what stands in the files that TRACKER_…_FILE names.

    So a secret stands in no list of variables. Raises InvalidInputError for one that is set twice or whose file is
    empty or no text, and OSError for a file that cannot be read.
    """
    named = {name: path for name, path in environment.items() if _IN_A_FILE.fullmatch(name) and path}
    return {
        **environment,
        **{name.removesuffix("_FILE"): _read(name, path, environment) for name, path in named.items()},
    }


def _read(name: str, path: str, environment: Mapping[str, str]) -> str:
    if environment.get(name.removesuffix("_FILE")):
        told = f"{name.removesuffix('_FILE')} and {name} are both set. Leave one of them out."
        raise InvalidInputError(told, [fault_at(name, "set twice")])
    try:
        text = Path(path).read_text(encoding="utf-8").strip()
    except UnicodeDecodeError:
        raise InvalidInputError(f"{name}: {path} is not a text in UTF-8.", [fault_at(name, "no text")]) from None
    if not text:
        raise InvalidInputError(f"{name} names an empty file: {path}.", [fault_at(name, "an empty file")])
    return text


def _one_of(words: Sequence[str], name: str, environment: Mapping[str, str], usual: str) -> str:
    given = (environment.get(name) or "").strip().lower() or usual
    if given in words:
        return given
    wanted = f"{', '.join(words[:-1])} or {words[-1]}"
    raise InvalidInputError(f"{name} is {given[:80]!r}: wanted is {wanted}.", [fault_at(name, f"wanted: {wanted}")])


def _file(name: str | None) -> Path | None:
    return Path(name) if name else None


def machine_timezone() -> str:
    """Return the name of this machine's time zone; UTC where it has none that has a name."""
    try:
        zone = get_localzone()
    except LookupError:
        return "UTC"
    return str(getattr(zone, "key", None) or getattr(zone, "zone", None) or "UTC")


def _timezone(name: str) -> str:
    if not name:
        return machine_timezone()
    try:
        get_timezone(name)
    except LookupError:
        fault = fault_at("TRACKER_TIMEZONE", f"{name[:80]} is not known")
        told = "TRACKER_TIMEZONE is no time zone: a name such as Europe/Madrid is wanted."
        raise InvalidInputError(told, [fault]) from None
    return name


def _site_url(address: str) -> str:
    if not address:
        return ""
    try:
        parts = urlsplit(address)
        good = parts.scheme in ("http", "https") and bool(parts.hostname) and parts.port != 0
    except ValueError:
        good = False
    if good and _PLAIN.fullmatch(address) and not parts.query and not parts.fragment:
        return address.rstrip("/")
    fault = fault_at("TRACKER_SITE_URL", f"{address[:80]} is none")
    told = "TRACKER_SITE_URL is no address: one such as https://tracker.example is wanted, with http:// or https://."
    raise InvalidInputError(told, [fault])


def _proxy(address: str) -> str:
    if address in ("", ANY_PROXY):
        return address
    try:
        return str(ip_address(address))
    except ValueError:
        fault = fault_at("TRACKER_TRUSTED_PROXY", f"{address[:80]} is none")
        told = "TRACKER_TRUSTED_PROXY is no address: an IP address such as 127.0.0.1 is wanted, or * for any."
        raise InvalidInputError(told, [fault]) from None


def keep_secret(path: Path, key: str) -> None:
    """Put a secret key into its file, whole or not at all, for its owner alone. Raises OSError."""
    put_file(path, key.encode(), mode=0o600)


def _kept_secret(path: Path) -> str:
    if not path.exists():
        with suppress(FileExistsError):
            make_file(path, secrets.token_hex(32).encode("ascii"), mode=0o600)
    keep_private(path)
    key = path.read_text(encoding="utf-8", errors="replace").strip()
    if not key:
        told = f"The secret key in {path} is empty. Delete the file and restore a backup, which holds the key."
        raise InvalidInputError(f"{told} Without one a new key is made; links on sheets printed so far open no more.")
    return key
