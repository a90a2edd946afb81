"""The demo with a server: the invented shop's day, one sign-in a role, and stations that keep scanning."""

import json
import os
import random
import secrets
import tempfile
import threading
import urllib.error
import urllib.request
from dataclasses import dataclass
from datetime import UTC, datetime
from shlex import quote
from typing import Any
from uuid import uuid4

from tracker.app import create_app
from tracker.demo.shop import DemoShop, Say, new_shop
from tracker.demo.story import play_day
from tracker.records.database import Database
from tracker.records.holding import hold
from tracker.records.migrate import upgrade
from tracker.server import Server
from tracker.settings import Settings
from tracker.shop.roles import Role
from tracker.shop.steps import Step
from tracker.work.access import add_station, make_token
from tracker.work.people import add_person, make_badge

PAUSE_S = (1.0, 4.0)
# Invented, as all of the demo.
PEOPLE = {
    Role.STATION: "Sam Saw",
    Role.PACKER: "Pat Pack",
    Role.FOREMAN: "Fay Fore",
    Role.OFFICE: "Otto Office",
    Role.ADMIN: "Ada Admin",
}


def run_day(port: int, say: Say, folder: str | None = None) -> None:
    """Serve the invented shop from a folder, a new one if none is given, until stopped.

    Raises ConflictError for a folder that holds a database: it may be that of a real shop.
    """
    settings, database = new_shop(folder or tempfile.mkdtemp(prefix="tracker-demo-"))
    with hold(database):
        _run_held(database, settings, port, say)


def _run_held(database: Database, settings: Settings, port: int, say: Say) -> None:
    upgrade(database)
    server = Server(create_app(settings, database), host="127.0.0.1", port=port)
    shop = play_day(database, settings, say)
    tokens = {role: _token(database, role) for role in Role}
    people = [_person(database, role, name) for role, name in PEOPLE.items()]
    say(f"\nOpen {server.address} and sign in as one of these people (what they do, name, password):")
    for person in people:
        say(f"  {person.role.value:8} {person.name:12} {person.password}")
    say("Programs call with one of these tokens:")
    for role, plain in tokens.items():
        say(f"  {role.value:8} {plain}")
    say(f"The calls are described at {server.address}/api/v1/docs. Stop with Ctrl-C.")
    say(f"Another terminal uses its database after: export TRACKER_DATA_DIR={quote(str(settings.data_dir))}")
    own = _own_stations(shop)
    say(f"{', '.join(own.values())} scan by themselves; the stations without a 2 are yours.")
    stopped = threading.Event()
    stations = _Stations(server.address, tokens, shop, own, stopped)
    worker = threading.Thread(target=stations.run, name="simulated stations")
    worker.start()
    server.run_until_signalled()
    stopped.set()
    worker.join()
    database.close()


def _own_stations(shop: DemoShop) -> dict[Step, str]:
    """Add a second station for each step that is simulated: whoever tries one is not scanned into by a ghost."""
    own: dict[Step, str] = {
        step: name.replace("-1", "-2") for step, name in shop.stations.items() if step is not Step.SHIP
    }
    for step, name in own.items():
        add_station(shop.database, name, step)
    return own


def _token(database: Database, role: Role) -> str:
    name = f"demo {role.value}"
    return make_token(database, name, role, secret=lambda: secrets.token_urlsafe(16), now=datetime.now(UTC))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Person:
    role: Role
    name: str
    password: str


def _person(database: Database, role: Role, name: str) -> _Person:
    """Add a person with a password of their own and a badge."""
    password = secrets.token_urlsafe(9)
    number = add_person(database, name, role, password=password, now=datetime.now(UTC))
    make_badge(database, number, now=datetime.now(UTC))
    return _Person(role=role, name=name, password=password)


@dataclass(slots=True)
class _Stations:
    """Simulated stations: they scan through the service like any other program."""

    address: str
    tokens: dict[Role, str]
    shop: DemoShop
    stations: dict[Step, str]
    stopped: threading.Event

    def run(self) -> None:
        chance = random.Random(os.getpid())  # noqa: S311 - which part comes next in a demo is no secret
        while not self.stopped.wait(chance.uniform(*PAUSE_S)):
            try:
                self._one_scan(chance)
            except (urllib.error.URLError, OSError):
                continue  # the service is stopping or busy; a station tries again

    def _one_scan(self, chance: random.Random) -> None:
        waiting = [
            part
            for row in self.shop.data["job"]
            if row["state"] in ("half", "started")
            for part in self.shop.parts(row["code"])
            if part.step not in (None, Step.SHIP) and not part.damaged and part.status != "replaced"
        ]
        if not waiting:
            return
        part = chance.choice(waiting[:12])
        step = Step(part.step or Step.CUT)
        scan = {
            "id": str(uuid4()),
            "code": part.code,
            "station": self.stations[step],
            "at": datetime.now(UTC).isoformat(),
        }
        self._post("/api/v1/scans", {"scans": [scan | ({"box": part.box.code} if step is Step.PACK else {})]})

    def _post(self, path: str, body: dict[str, Any]) -> None:
        request = urllib.request.Request(  # noqa: S310 - the demo's own service
            self.address + path,
            data=json.dumps(body).encode(),
            headers={"Authorization": f"Bearer {self.tokens[Role.STATION]}", "Content-Type": "application/json"},
        )
        with urllib.request.urlopen(request, timeout=5):  # noqa: S310 - the demo's own service
            pass
