"""Whether the service lives, is ready, and what it counts."""

import shutil
from typing import Any

from flask import Blueprint, Response, current_app, jsonify
from prometheus_client import CONTENT_TYPE_LATEST, CollectorRegistry, generate_latest
from sqlalchemy.exc import SQLAlchemyError

from tracker.records.database import SQLITE_VERSION
from tracker.records.failures import failure_of
from tracker.records.migrate import expected_revision, revision_of
from tracker.shop.failures import Failure, told_of
from tracker.web.context import database
from tracker.work.access import open_to_all

blueprint = Blueprint("health", __name__)


@blueprint.get("/healthz")
@open_to_all
def healthz() -> Response:
    """The process lives."""
    return jsonify(status="alive")


@blueprint.get("/readyz")
@open_to_all
def readyz() -> tuple[Response, int]:
    """The database answers, has the tables that this program expects, and no damage of it was seen.

    Beside it stand how the last write of this process went and how much room its disk has. A full disk makes nobody
    unready: what is there can still be read.
    """
    expected = expected_revision()
    told = _state()
    try:
        with database().read() as connection:
            found = revision_of(connection)
    except SQLAlchemyError as error:
        return _not_ready(told_of(failure_of(error) or Failure.AWAY), told)
    if database().health.is_damaged:
        return _not_ready(told_of(Failure.DAMAGED), told)
    if found != expected:
        why = f"The database is at migration {found}, the program needs {expected}: run tracker init."
        return _not_ready(why, told)
    engine = f"SQLite {SQLITE_VERSION}" if database().is_sqlite else "PostgreSQL"
    return jsonify(status="ready", migration=found, database=engine, **told), 200


def _not_ready(why: str, told: dict[str, Any]) -> tuple[Response, int]:
    return jsonify(status="not ready", why=why, **told), 503


def _state() -> dict[str, Any]:
    failure = database().health.last_failure
    told: dict[str, Any] = {"last_write": "ok" if failure is None else failure.value}
    folder = database().folder
    if folder is not None:
        told["free_bytes"] = shutil.disk_usage(folder).free
    return told


@blueprint.get("/metrics")
@open_to_all
def metrics() -> Response:
    """Prometheus text."""
    registry: CollectorRegistry = current_app.extensions["shop_metrics"].registry
    return Response(generate_latest(registry), content_type=CONTENT_TYPE_LATEST)
