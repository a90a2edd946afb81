"""Makes the web application from settings. Nothing happens at import."""

import logging
import re
import time
from collections.abc import Iterable
from dataclasses import dataclass
from http import HTTPStatus
from typing import TYPE_CHECKING, Any
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
from tracker.web.unchanged import REQUEST_ID, Told, Unchanged, keep_unchanged
from tracker.work.access import Gate
from tracker.work.group_commit import GroupCommit
from tracker.work.print_queue import PrintQueue
from tracker.work.sessions import KEPT, LaterNotes

if TYPE_CHECKING:
    from _typeshed.wsgi import StartResponse, WSGIEnvironment

_GIVEN_ID = re.compile(r"[A-Za-z0-9-]{8,64}", re.ASCII)
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


class Service(Flask):
    """The web application, which answers at once where it is known that nothing is new."""

    def wsgi_app(self, environ: "WSGIEnvironment", start_response: "StartResponse") -> Iterable[bytes]:
        """Answer a request."""
        unchanged: Unchanged = self.extensions["shop_unchanged"]

        def note(told: Told, seconds: float) -> str:
            number = _number(environ.get("HTTP_X_REQUEST_ID", ""))
            _note(self, told, HTTPStatus.NOT_MODIFIED, number, seconds)
            return number

        return unchanged.answer(environ, start_response, super().wsgi_app, note)


def create_app(settings: Settings, database: Database | None = None) -> Flask:
    """Return the application on the database of ``settings``, or on one that is given."""
    app = Service("tracker.pages", static_folder=None, template_folder=".")
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
        shop_unchanged=Unchanged(database),
    )


def _metrics() -> Metrics:
    registry = CollectorRegistry()
    return Metrics(
        registry=registry,
        requests=Counter("tracker_requests", "Requests answered", ["call", "status"], registry=registry),
        seconds=Histogram("tracker_request_seconds", "Seconds to answer", ["call"], registry=registry),
    )


def _start() -> None:
    g.request_id = _number(request.headers.get(REQUEST_ID, ""))
    g.started = time.perf_counter()
    request.max_content_length = most_bytes(request.path)
    if (request.content_length or 0) > request.max_content_length:
        raise RequestEntityTooLarge  # also where the view would not have read it


def _number(given: str) -> str:
    return given if _GIVEN_ID.fullmatch(given) else uuid4().hex


def _is_call() -> bool:
    return request.path.startswith("/api/")


def _check() -> Any:
    """Let no request through to a view that does not say who may use it."""
    view = current_app.view_functions.get(request.endpoint or "")
    if request.endpoint is None or getattr(view, "open_to_all", False):
        return None
    return check_caller() if _is_call() else sign_in.check_bearer()


def _finish(response: Response) -> Response:
    number = g.get("request_id", "")
    told = Told(
        call=request.url_rule.rule if request.url_rule else "none",
        method=request.method,
        path=request.path,
        who=getattr(g.get("bearer"), "name", None),
    )
    if g.get("follows_from_the_database"):
        keep_unchanged(request.environ, told)
    seconds = time.perf_counter() - g.get("started", time.perf_counter())
    _note(current_app, told, response.status_code, number, seconds)
    response.headers[REQUEST_ID] = number
    response.headers.setdefault("X-Content-Type-Options", "nosniff")
    response.headers.setdefault("Referrer-Policy", "same-origin")
    response.headers.setdefault("Permissions-Policy", "camera=(self), microphone=(), geolocation=()")
    response.headers.setdefault(
        "Content-Security-Policy",
        "default-src 'self'; img-src 'self' data: blob:; object-src 'none'; frame-ancestors 'none'; "
        "base-uri 'none'; form-action 'self'",
    )
    return response


def _note(app: Flask, told: Told, status: int, number: str, seconds: float) -> None:
    metrics: Metrics = app.extensions["shop_metrics"]
    metrics.requests.labels(told.call, status).inc()
    metrics.seconds.labels(told.call).observe(seconds)
    if requests_log.isEnabledFor(logging.INFO):
        of = {"method": told.method, "path": told.path, "who": told.who}
        noted = {"request_id": number, **of, "status": status, "ms": round(seconds * 1000, 1)}
        requests_log.info("request", extra=noted)


def _answer_error(error: Exception) -> Any:
    return service.problem_for(error) if _is_call() else sign_in.error_page(error)
