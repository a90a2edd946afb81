"""Puts the calls under /api/v1 together: parsing, errors, the OpenAPI document and its readable pages."""

import re
from typing import Any, NoReturn

from flask import Flask, Response, current_app, g, jsonify, render_template_string
from flask_smorest import Api, Blueprint
from marshmallow import Schema, ValidationError, missing
from sqlalchemy.exc import DBAPIError
from webargs.flaskparser import FlaskParser
from werkzeug.exceptions import HTTPException, UnsupportedMediaType

from tracker.api import problems
from tracker.shop.errors import Fault, InvalidInputError, ShopError
from tracker.shop.roles import Role
from tracker.work.access import open_to_all

PREFIX = "/api/v1"


class Parser(FlaskParser):
    """Reads requests; every fault of the shape is named with its place."""

    def load_json(self, req: Any, schema: Schema) -> Any:
        if not req.is_json and req.get_data():
            raise UnsupportedMediaType("Send the body as application/json.")
        return super().load_json(req, schema)

    def _raw_load_json(self, req: Any) -> Any:
        return current_app.json.loads(req.get_data()) if req.is_json else missing

    def _handle_invalid_json_error(self, error: Any, req: Any, *args: Any, **kwargs: Any) -> NoReturn:
        raise InvalidInputError("The body is not JSON. Nothing was stored.", [Fault(where={}, what=str(error))])

    def handle_error(self, error: ValidationError, *args: Any, **kwargs: Any) -> NoReturn:
        faults = [fault for location in error.messages_dict.values() for fault in _faults(location, ())]
        raise InvalidInputError("The request does not have the right shape. Nothing was stored.", faults)


def _faults(messages: Any, place: tuple[str | int, ...]) -> list[Fault]:
    if isinstance(messages, dict):
        return [fault for key, inner in messages.items() for fault in _faults(inner, (*place, key))]
    where = {"field": ".".join(str(step) for step in place)}
    return [Fault(where=where, what=str(message)) for message in messages]


class CallBlueprint(Blueprint):  # type: ignore[misc]  # flask-smorest has no types
    """A group of calls that read their requests as the shop does."""

    ARGUMENTS_PARSER = Parser()


class _QuietApi(Api):  # type: ignore[misc]  # flask-smorest has no types
    """Without flask-smorest's own error answers: they would reach pages, too, and drop headers."""

    def _register_error_handlers(self) -> None:
        pass


def register(app: Flask, blueprints: list[CallBlueprint]) -> None:
    """Put the calls, their document and their pages into the app."""
    app.config.update(
        API_TITLE="Flat-pack tracker",
        API_VERSION="v1",
        OPENAPI_VERSION="3.0.3",
        OPENAPI_URL_PREFIX=None,
    )
    api = _QuietApi(app, spec_kwargs={"info": {"description": _ABOUT}})
    api.spec.components.security_scheme("token", {"type": "http", "scheme": "bearer"})
    for blueprint in blueprints:
        api.register_blueprint(blueprint, url_prefix=PREFIX)
    document = api.spec.to_dict()
    document["security"] = [{"token": []}]
    _say_roles(app, document)

    @app.get(f"{PREFIX}/openapi.json")
    @open_to_all
    def openapi() -> Response:
        return jsonify(document)

    @app.get(f"{PREFIX}/docs")
    @open_to_all
    def docs() -> str:
        return render_template_string(_DOCS, document=document)


def _say_roles(app: Flask, document: dict[str, Any]) -> None:
    """Say with each call which role it needs, as its view says it."""
    for rule in app.url_map.iter_rules():
        role: Role | None = getattr(app.view_functions[rule.endpoint], "needs", None)
        calls = document["paths"].get(re.sub(r"<(?:\w+:)?(\w+)>", r"{\1}", rule.rule), {})
        for verb in rule.methods or ():
            if role is not None and verb.lower() in calls:
                calls[verb.lower()]["x-role"] = role.value


def problem_for(error: Exception) -> Response:
    """Answer an error as a problem document."""
    if isinstance(error, ShopError):
        return problems.shop_problem(error)
    if isinstance(error, HTTPException):
        return problems.http_problem(error)
    if isinstance(error, DBAPIError):
        return problems.database_problem(error)
    return problems.unexpected_problem(error, g.get("request_id", ""))


_ABOUT = (
    "Cut lists in, labels out, scans through cut, machine, band, pack and ship; what each box lacks, where that is. "
    "Errors are RFC 9457 problem documents. Lengths in mm, masses in kg, times in RFC 3339."
)
_DOCS = """<!doctype html>
<html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">
<title>{{ document.info.title }}: calls</title>
<link rel="icon" href="{{ url_for('static', filename='frame/icon.svg') }}">
<link rel="stylesheet" href="{{ url_for('static', filename='frame/calls.css') }}">
</head><body><main>
<h1>{{ document.info.title }}: calls</h1>
<p>{{ document.info.description }}</p>
<p>The same for programs: <a href="openapi.json">openapi.json</a>.</p>
{% for path, calls in document.paths.items() %}{% for verb, call in calls.items() if verb != "parameters" %}
<h2><code>{{ verb | upper }} {{ path }}</code></h2>
<p>{{ (call.summary or "") | replace("``", "") }} {{ (call.description or "") | replace("``", "") }}
Role: {{ call["x-role"] }} or above.</p>
<details><summary>Request and answers of {{ verb | upper }} {{ path }}</summary>
<pre tabindex="0">{{ call | tojson(indent=2) }}</pre></details>
{% endfor %}{% endfor %}
<h2>Shapes</h2>
{% for name, shape in document.components.schemas.items() %}
<h3 id="{{ name }}">{{ name }}</h3><pre tabindex="0">{{ shape | tojson(indent=2) }}</pre>
{% endfor %}
</main></body></html>
"""
