"""What the environment decides, read once into one frozen value."""

import secrets
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from platformdirs import user_data_path


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """Where the data lives, the key that signs sessions, and the address at which fitters reach the service, if any."""

    data_dir: Path
    database_url: str
    secret_key: str
    site_url: str = ""


def read_settings(environment: Mapping[str, str]) -> Settings:
    """Read TRACKER_DATA_DIR, TRACKER_DATABASE_URL, TRACKER_SECRET_KEY and TRACKER_SITE_URL, with their defaults.

    Makes the data folder, and in it the secret key, when they are absent.
    """
    data_dir = Path(environment.get("TRACKER_DATA_DIR") or user_data_path("flatpack-tracker"))
    data_dir.mkdir(parents=True, exist_ok=True)
    database_url = environment.get("TRACKER_DATABASE_URL") or f"sqlite:///{data_dir / 'tracker.db'}"
    secret_key = environment.get("TRACKER_SECRET_KEY") or _kept_secret(data_dir / "secret_key")
    site_url = (environment.get("TRACKER_SITE_URL") or "").rstrip("/")
    return Settings(data_dir=data_dir, database_url=database_url, secret_key=secret_key, site_url=site_url)


def _kept_secret(path: Path) -> str:
    try:
        with path.open("x", encoding="ascii") as file:
            path.chmod(0o600)
            file.write(secrets.token_hex(32))
    except FileExistsError:
        pass
    return path.read_text(encoding="ascii").strip()
