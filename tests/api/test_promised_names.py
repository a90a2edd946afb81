"""The names that the calls promise stand written out in the shapes; each is told from what the shop's values have."""

from collections.abc import Collection, Mapping
from dataclasses import fields as fields_of
from types import UnionType
from typing import Any, Union, get_args, get_origin, get_type_hints
from uuid import UUID

import pytest
from marshmallow import Schema, fields

from tracker.api.boxes import BoxShape
from tracker.api.jobs import JobShape
from tracker.api.missing import MissingBoxShape
from tracker.api.parts import HistoryShape, PartShape
from tracker.records.box_contents import BoxView
from tracker.records.jobs import JobView
from tracker.records.logged import LogView
from tracker.records.missing_lists import ShortBox
from tracker.records.parts import SeenPart

TOLD_FROM: list[tuple[type[Schema], type]] = [
    (JobShape, JobView),
    (PartShape, SeenPart),
    (BoxShape, BoxView),
    (MissingBoxShape, ShortBox),
    (HistoryShape, LogView),
]


@pytest.mark.parametrize(("shape", "value"), TOLD_FROM)
def test_what_a_call_promises_is_there_in_the_value_that_it_is_told_from(shape: type[Schema], value: type) -> None:
    assert missing_in(value, shape()) == []


def test_a_name_that_no_value_has_is_noticed() -> None:
    class Promised(Schema):
        code = fields.String()
        customer = fields.String(attribute="job.customer")
        colour = fields.String()
        hue = fields.String(attribute="job.hue")
        job = fields.String()

    assert missing_in(SeenPart, Promised()) == ["colour", "job.hue", "job"]


def missing_in(value: type, shape: Schema) -> list[str]:
    """What a shape tells and a value lacks, or has as no text where a text is told; of what is nested in it, too."""
    missing = []
    for name, field in shape.fields.items():
        if isinstance(field, fields.Function | fields.Method | fields.Constant):
            continue
        path = field.attribute or name
        found = kind_at(value, path)
        if found is None or (type(field) is fields.String and not issubclass(element(found), str | UUID)):
            missing.append(path)
        inner = inside(field)
        if found is not None and inner is not None:
            missing += [f"{path}.{each}" for each in missing_in(element(found), inner)]
    return missing


def kind_at(value: Any, path: str) -> Any:
    """The type of what a path of attributes leads to; None where it leads nowhere."""
    for name in path.split("."):
        value = element(value)
        prop = getattr(value, name, None)
        if isinstance(prop, property):
            value = get_type_hints(prop.fget)["return"]
        elif name in {each.name for each in fields_of(value)}:
            value = get_type_hints(value)[name]
        else:
            return None
    return value


def inside(field: fields.Field[Any]) -> Schema | None:
    """The shape that is nested in a field, in a list of them, or in the values of a table of them."""
    match field:
        case fields.Nested():
            return field.schema
        case fields.List():
            return inside(field.inner)
        case fields.Dict() if field.value_field is not None:
            return inside(field.value_field)
        case _:
            return None


def element(kind: Any) -> Any:
    """The type itself of one that may be None, or of what a collection of it holds."""
    if get_origin(kind) in (Union, UnionType):
        return element(next(each for each in get_args(kind) if each is not type(None)))
    origin = get_origin(kind)
    if isinstance(origin, type) and issubclass(origin, Mapping):
        return element(get_args(kind)[1])
    if isinstance(origin, type) and issubclass(origin, Collection):
        return element(get_args(kind)[0])
    return kind
