"""What the shapes of all calls are made of. Shape only: what the shop's rules say is decided in ``tracker.shop``."""

from datetime import datetime
from typing import Any

from marshmallow import RAISE, Schema, ValidationError, fields, validate

from tracker.shop.cutlist import MOST_FAULTS_TOLD
from tracker.shop.times import read_time

_WANTED_TIME = "An RFC 3339 time with an offset is wanted: 2027-03-05T09:30:00+01:00."


class Shape(Schema):
    """A shape that refuses fields that it does not know."""

    class Meta:
        unknown = RAISE


class Time(fields.Field[datetime]):
    """An RFC 3339 time with an offset."""

    def _serialize(self, value: datetime | None, attr: str | None, obj: Any, **kwargs: Any) -> str | None:
        return None if value is None else value.isoformat()

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> datetime:
        try:
            return read_time(value)
        except (TypeError, ValueError):
            raise ValidationError(_WANTED_TIME) from None


class Rows(fields.List[Any]):
    """A list whose length is looked at before what is in it, and of whose faults no more are told than help."""

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> list[Any]:
        if not isinstance(value, list):
            raise self.make_error("invalid")
        self._validate(value)
        found, faults = [], {}
        for index, each in enumerate(value):
            try:
                found.append(self.inner.deserialize(each, **kwargs))
            except ValidationError as fault:
                faults[index] = fault.messages
                if len(faults) == MOST_FAULTS_TOLD:
                    break
        if faults:
            raise ValidationError(faults)
        return found


class PageShape(Schema):
    """Which piece of a list."""

    limit = fields.Integer(load_default=50, validate=validate.Range(min=1, max=500))
    after = fields.String(load_default="", metadata={"description": "the ``next`` of the page before"})


def page_of(name: str, shape: type[Schema]) -> type[Schema]:
    """Return the shape of a page of a list, called ``name``."""
    rows = fields.List(fields.Nested(shape))
    return Schema.from_dict({"items": rows, "next": fields.String(allow_none=True)}, name=name)
