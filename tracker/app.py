"""Makes the web application from settings. Nothing happens at import."""

import logging
import re
import time
from dataclasses import dataclass
from typing import Any
from uuid import uuid4

from flask import Flask, Response, current_app, g, request
from prometheus_client import CollectorRegistry, Counter, Histogram
from sqlalchemy.exc import SQLAlchemyError
from werkzeug.exceptions import RequestEntityTooLarge

from tracker.api import (
    boxes,
    cabinets,
    changes,
    expected,
    flagged,
    health,
    jobs,
    labels,
    lists,
    loads,
    missing,
    parts,
    plans,
    printing,
    reports,
    scans,
    service,
    stations,
)
from tracker.api.context import check_caller
from tracker.pages.frame import sign_in
from tracker.pages.frame.cookies import Sessions
from tracker.pages.frame.files import add_files
from tracker.pages.frame.frame import add_frame
from tracker.pages.screens import BLUEPRINTS
from tracker.records.database import Database
from tracker.settings import Settings
from tracker.shop.errors import ShopError
from tracker.web.bodies import CarefulJson, most_bytes
from tracker.web.numbers import RowNumber
from tracker.work.access import Gate
from tracker.work.group_commit import GroupCommit
from tracker.work.print_queue import PrintQueue
from tracker.work.sessions import KEPT, LaterNotes

_REQUEST_ID = re.compile(r"[A-Za-z0-9-]{8,64}", re.ASCII)
requests_log = logging.getLogger("tracker.requests")


CALLS = (
    *(scans, expected, jobs, cabinets, parts, boxes, missing, loads, changes, stations),
    *(flagged, reports, labels, plans, lists, printing),
)


@dataclass(frozen=True, slots=True)
class Metrics:
    """What the service counts, in a registry of its own: two apps in one process do not mix."""

    registry: CollectorRegistry
    requests: Counter
    seconds: Histogram


def create_app(settings: Settings, database: Database | None = None) -> Flask:
    """Return the application on the database of ``settings``, or on one that is given."""
    app = Flask("tracker.pages", static_folder=None, template_folder=".")
    app.config.update(
        MAX_FORM_MEMORY_SIZE=1024 * 1024,
        SESSION_COOKIE_HTTPONLY=True,
        PERMANENT_SESSION_LIFETIME=KEPT,  # the shop's own records say when a session ends
        SESSION_COOKIE_SAMESITE="Strict",
    )
    app.session_interface = Sessions()
    app.url_map.converters["int"] = RowNumber
    app.json = CarefulJson(app)
    open_shop(app, settings, database or Database(settings.database_url))
    add_files(app)
    add_frame(app)
    app.before_request(_start)
    app.before_request(_check)
    app.after_request(_finish)
    service.register(app, [each.blueprint for each in CALLS])
    app.register_blueprint(health.blueprint)
    for blueprint in BLUEPRINTS:
        app.register_blueprint(blueprint)
    for kind in (ShopError, SQLAlchemyError, Exception):
        app.register_error_handler(kind, _answer_error)
    return app


def open_shop(app: Flask, settings: Settings, database: Database) -> None:
    """Let an app serve the shop on a database: all that one shop does not share with another."""
    app.config["SECRET_KEY"] = settings.secret_key
    app.extensions.update(
        shop_database=database,
        shop_settings=settings,
        shop_scans=GroupCommit(database),
        shop_prints=PrintQueue(database, settings),
        shop_gate=Gate(database),
        shop_session=sign_in.bearer_of_session,
        shop_session_notes=LaterNotes(),
        shop_metrics=_metrics(),
    )


def _metrics() -> Metrics:
    registry = CollectorRegistry()
    return Metrics(
        registry=registry,
        requests=Counter("tracker_requests", "Requests answered", ["call", "status"], registry=registry),
        seconds=Histogram("tracker_request_seconds", "Seconds to answer", ["call"], registry=registry),
    )


def _start() -> None:
    given = request.headers.get("X-Request-Id", "")
    g.request_id = given if _REQUEST_ID.fullmatch(given) else uuid4().hex
    g.started = time.perf_counter()
    request.max_content_length = most_bytes(request.path)
    if (request.content_length or 0) > request.max_content_length:
        raise RequestEntityTooLarge  # also where the view would not have read it


def _is_call() -> bool:
    return request.path.startswith("/api/")


def _check() -> Any:
    """Let no request through to a view that does not say who may use it."""
    view = current_app.view_functions.get(request.endpoint or "")
    if request.endpoint is None or getattr(view, "open_to_all", False):
        return None
    return check_caller() if _is_call() else sign_in.check_bearer()


def _finish(response: Response) -> Response:
    seconds = time.perf_counter() - g.get("started", time.perf_counter())
    metrics: Metrics = current_app.extensions["shop_metrics"]
    call = request.url_rule.rule if request.url_rule else "none"
    metrics.requests.labels(call, response.status_code).inc()
    metrics.seconds.labels(call).observe(seconds)
    response.headers["X-Request-Id"] = g.get("request_id", "")
    response.headers.setdefault("X-Content-Type-Options", "nosniff")
    response.headers.setdefault("Referrer-Policy", "same-origin")
    response.headers.setdefault("Permissions-Policy", "camera=(self), microphone=(), geolocation=()")
    response.headers.setdefault(
        "Content-Security-Policy",
        "default-src 'self'; img-src 'self' data: blob:; object-src 'none'; frame-ancestors 'none'; "
        "base-uri 'none'; form-action 'self'",
    )
    if not requests_log.isEnabledFor(logging.INFO):
        return response
    requests_log.info(
        "request",
        extra={
            "request_id": g.get("request_id", ""),
            "method": request.method,
            "path": request.path,
            "status": response.status_code,
            "ms": round(seconds * 1000, 1),
            "who": getattr(g.get("bearer"), "name", None),
        },
    )
    return response


def _answer_error(error: Exception) -> Any:
    return service.problem_for(error) if _is_call() else sign_in.error_page(error)
