"""Whether the service lives, is ready, and what it counts."""

from flask import Blueprint, Response, current_app, jsonify
from prometheus_client import CONTENT_TYPE_LATEST, CollectorRegistry, generate_latest
from sqlalchemy.exc import SQLAlchemyError

from tracker.api.context import database
from tracker.records.database import SQLITE_VERSION
from tracker.records.migrate import expected_revision, revision_of
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
    """The database answers and has the tables that this program expects."""
    expected = expected_revision()
    try:
        with database().read() as connection:
            found = revision_of(connection)
    except SQLAlchemyError as error:
        return jsonify(status="not ready", why=f"the database does not answer: {type(error).__name__}"), 503
    if found != expected:
        why = f"the database is at migration {found}, the program needs {expected}: run tracker init"
        return jsonify(status="not ready", why=why), 503
    engine = f"SQLite {SQLITE_VERSION}" if database().is_sqlite else "PostgreSQL"
    return jsonify(status="ready", migration=found, database=engine), 200


@blueprint.get("/metrics")
@open_to_all
def metrics() -> Response:
    """Prometheus text."""
    registry: CollectorRegistry = current_app.extensions["shop_metrics"].registry
    return Response(generate_latest(registry), content_type=CONTENT_TYPE_LATEST)
