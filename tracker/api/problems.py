"""Errors as RFC 9457 problem documents: one table from each error to its status and type."""

from http import HTTPStatus
from typing import Any

from flask import Response, current_app, jsonify, request
from sqlalchemy.exc import DBAPIError
from werkzeug.exceptions import HTTPException, RequestEntityTooLarge

from tracker.records.failures import failure_of
from tracker.shop import errors
from tracker.shop.failures import Failure, told_of

STATUS_OF: dict[type[errors.ShopError], HTTPStatus] = {
    errors.InvalidInputError: HTTPStatus.UNPROCESSABLE_ENTITY,
    errors.TooLargeError: HTTPStatus.REQUEST_ENTITY_TOO_LARGE,
    errors.NotFoundError: HTTPStatus.NOT_FOUND,
    errors.ConflictError: HTTPStatus.CONFLICT,
    errors.IncompleteError: HTTPStatus.CONFLICT,
    errors.OffWeightError: HTTPStatus.CONFLICT,
    errors.NotSignedInError: HTTPStatus.UNAUTHORIZED,
    errors.ThrottledError: HTTPStatus.TOO_MANY_REQUESTS,
    errors.NotAllowedError: HTTPStatus.FORBIDDEN,
    errors.BusyError: HTTPStatus.SERVICE_UNAVAILABLE,
}


def type_of(error: type[errors.ShopError]) -> str:
    """Return the problem type: a path that does not change, named after the error."""
    name = error.__name__.removesuffix("Error")
    words = "".join(f"-{letter.lower()}" if letter.isupper() else letter for letter in name)
    return f"/problems/{words.lstrip('-')}"


def told_of_refusal(error: errors.ShopError) -> dict[str, Any]:
    """Return what programs are told of a refusal: its type, title and detail, and what it names beside them."""
    more: dict[str, Any] = {"type": type_of(type(error)), "title": error.title, "detail": error.detail}
    if isinstance(error, errors.InvalidInputError | errors.TooLargeError) and error.faults:
        more["errors"] = [{"where": dict(fault.where), "what": fault.what} for fault in error.faults]
    if isinstance(error, errors.IncompleteError):
        more["missing"] = [dict(entry) for entry in error.missing]
        if error.staying is not None:
            more["stays_behind"] = [dict(entry) for entry in error.staying]
    if isinstance(error, errors.OffWeightError):
        more["weight"] = {
            "expected_kg": round(error.expected_kg, 3),
            "weighed_kg": error.weighed_kg,
            "limit_kg": round(error.limit_kg, 3),
        }
    return more


def shop_problem(error: errors.ShopError) -> Response:
    """Answer a refusal of the shop."""
    told = told_of_refusal(error)
    response = problem(STATUS_OF[type(error)], told.pop("type"), told.pop("title"), told.pop("detail"), **told)
    if isinstance(error, errors.ThrottledError | errors.BusyError):
        response.headers["Retry-After"] = str(error.wait_s)
    elif isinstance(error, errors.NotSignedInError):
        response.headers["WWW-Authenticate"] = "Bearer"
    return response


def http_problem(error: HTTPException) -> Response:
    """Answer an error of the protocol (no such path, wrong method, too large), keeping the headers that it carries."""
    status = HTTPStatus(error.code or 500)
    detail = _limit() if isinstance(error, RequestEntityTooLarge) else error.description or status.phrase
    response = problem(status, "about:blank", status.phrase, detail)
    for name, value in error.get_headers():
        if name.lower() != "content-type":
            response.headers[name] = value
    return response


def _limit() -> str:
    """Say which limit the request at hand is over: that of its body, or that of the texts of a form."""
    most, sent = request.max_content_length, request.content_length
    if most is not None and (sent is None or sent > most):
        told = f" This one has {sent:,}." if sent is not None else ""
        return f"A request to this address may have at most {most:,} bytes.{told} Send it in several parts."
    texts, fields = request.max_form_memory_size, request.max_form_parts
    return f"Beside its files a form may have at most {texts:,} bytes in at most {fields:,} fields."


def database_problem(error: DBAPIError) -> Response:
    """Answer a database that is away or full: nothing was stored, and the same request may be sent again."""
    current_app.logger.error("database error", exc_info=error)
    failure = failure_of(error)
    status = HTTPStatus.INTERNAL_SERVER_ERROR if failure is None else HTTPStatus.SERVICE_UNAVAILABLE
    detail = told_of(failure or Failure.AWAY)
    response = problem(status, "/problems/database", "The database did not answer", detail)
    if failure is not None:
        response.headers["Retry-After"] = "2"
    return response


def problem(status: HTTPStatus, kind: str, title: str, detail: str, **more: Any) -> Response:
    """Make a problem document."""
    response = jsonify({"type": kind, "title": title, "status": int(status), "detail": detail, **more})
    response.status_code = int(status)
    response.mimetype = "application/problem+json"
    return response


def unexpected_problem(error: Exception, request_id: str) -> Response:
    """Answer a fault of our own: logged with the request's id, which the caller is given to name."""
    current_app.logger.error("unexpected error", exc_info=error)
    detail = f"This is a fault of the service. Tell whoever looks after it the request id {request_id}."
    return problem(HTTPStatus.INTERNAL_SERVER_ERROR, "about:blank", "The service failed", detail)
