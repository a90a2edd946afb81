"""Messages of the Internet Printing Protocol as bytes and back: RFC 8010, section 3.

A message that comes from a network is read with bounds: its length is the caller's, its collections nest at most
DEEPEST, and whatever does not follow the rules is a BadMessageError.

Own, because the libraries that there are write no collections, and the size of a label is one. The judge is Debian's
``ippeveprinter`` (``tests/network_printer.py``).
"""

import struct
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import IntEnum
from typing import Final

VERSION: Final = (1, 1)  # RFC 8011, 4.1.8: what every printer speaks
DEEPEST: Final = 10
LONGEST_VALUE: Final = 0x7FFF  # RFC 8010, 3.2: a length is a SIGNED-SHORT


class Tag(IntEnum):
    """What a group or a value is: RFC 8010, 3.5."""

    OPERATION = 0x01
    JOB = 0x02
    END = 0x03
    PRINTER = 0x04
    UNSUPPORTED = 0x05
    INTEGER = 0x21
    BOOLEAN = 0x22
    ENUM = 0x23
    OCTETS = 0x30
    DATE_TIME = 0x31
    RESOLUTION = 0x32
    RANGE = 0x33
    COLLECTION = 0x34
    TEXT_IN_LANGUAGE = 0x35
    NAME_IN_LANGUAGE = 0x36
    END_COLLECTION = 0x37
    TEXT = 0x41
    NAME = 0x42
    KEYWORD = 0x44
    URI = 0x45
    URI_SCHEME = 0x46
    CHARSET = 0x47
    LANGUAGE = 0x48
    MIME_TYPE = 0x49
    MEMBER_NAME = 0x4A


_LAST_GROUP: Final = 0x0F
_NO_VALUE: Final = range(0x10, 0x20)  # unsupported, unknown, no-value …: named without a value
_TEXTS: Final = range(0x40, 0x60)
_INTEGERS: Final = (Tag.INTEGER, Tag.ENUM)
_IN_LANGUAGE: Final = (Tag.TEXT_IN_LANGUAGE, Tag.NAME_IN_LANGUAGE)


class BadMessageError(Exception):
    """What came is no message of the protocol."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Range:
    """From ``low`` to ``high``, both included."""

    low: int
    high: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Resolution:
    """Dots in each direction; ``per_cm`` when they are not an inch's."""

    across: int
    along: int
    per_cm: bool = False


@dataclass(frozen=True, slots=True)
class Collection:
    """Attributes that are one value together."""

    members: tuple["Attribute", ...]

    def get(self, name: str) -> tuple[object, ...]:
        """Return the values of a member, none when it is not there."""
        return next((each.values for each in self.members if each.name == name), ())


@dataclass(frozen=True, slots=True)
class Attribute:
    """A name with one or more values of one kind. ``tag`` is a Tag, or the number of one that is not known here."""

    name: str
    tag: int
    values: tuple[object, ...]


@dataclass(frozen=True, slots=True)
class Group:
    """Attributes of the operation, of the job, of the printer, or those that it does not support."""

    tag: int
    attributes: tuple[Attribute, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Message:
    """A request (``code`` is the operation) or an answer (``code`` is the status)."""

    code: int
    request_id: int
    groups: tuple[Group, ...]

    def values(self, tag: Tag, name: str) -> tuple[object, ...]:
        """Return the values of an attribute in the first group of a kind that has it."""
        named = (each for group in self.groups if group.tag == tag for each in group.attributes)
        return next((each.values for each in named if each.name == name), ())

    def names(self, tag: Tag) -> list[str]:
        """Return the names of all attributes in the groups of a kind."""
        return [each.name for group in self.groups if group.tag == tag for each in group.attributes]


def attribute(name: str, tag: Tag, *values: object) -> Attribute:
    """Return an attribute of one or more values."""
    return Attribute(name, tag, values)


def collection(name: str, *members: Attribute) -> Attribute:
    """Return an attribute whose value is a collection."""
    return Attribute(name, Tag.COLLECTION, (Collection(members),))


# To bytes


def encode(message: Message) -> bytes:
    """Return a message as bytes; a document follows them in the same body."""
    head = struct.pack(">BBHI", *VERSION, message.code, message.request_id)
    groups = (bytes([group.tag]) + b"".join(map(_encoded, group.attributes)) for group in message.groups)
    return head + b"".join(groups) + bytes([Tag.END])


def _encoded(each: Attribute) -> bytes:
    # The second and further values of an attribute have an empty name: RFC 8010, 3.1.5.
    return b"".join(_field(each.tag, each.name if place == 0 else "", value) for place, value in enumerate(each.values))


def _field(tag: int, name: str, value: object) -> bytes:
    if isinstance(value, Collection):
        members = b"".join(_member(each) for each in value.members)
        return _tagged(Tag.COLLECTION, name, b"") + members + _tagged(Tag.END_COLLECTION, "", b"")
    return _tagged(tag, name, _raw(value))


def _member(each: Attribute) -> bytes:
    values = b"".join(_field(each.tag, "", value) for value in each.values)
    return _tagged(Tag.MEMBER_NAME, "", each.name.encode()) + values


def _tagged(tag: int, name: str, raw: bytes) -> bytes:
    named = name.encode()
    if max(len(named), len(raw)) > LONGEST_VALUE:
        raise ValueError(f"{name}: longer than {LONGEST_VALUE} bytes")
    return struct.pack(">BH", tag, len(named)) + named + struct.pack(">H", len(raw)) + raw


def _raw(value: object) -> bytes:
    match value:
        case None:
            return b""
        case bool():
            return bytes([value])
        case int():
            return struct.pack(">i", value)
        case str():
            return value.encode()
        case bytes():
            return value
        case Range():
            return struct.pack(">ii", value.low, value.high)
        case Resolution():
            return struct.pack(">iiB", value.across, value.along, 4 if value.per_cm else 3)
        case _:
            raise TypeError(f"no value of the protocol: {value!r}")


# From bytes


def decode(data: bytes) -> Message:
    """Return the message that ``data`` begins with. Raises BadMessageError."""
    try:
        return _message(_Reader(data))
    except (struct.error, UnicodeDecodeError, IndexError) as error:
        raise BadMessageError(f"cut short or garbled: {error}") from error


class _Reader:
    """Reads on through bytes; past their end is an IndexError."""

    def __init__(self, data: bytes) -> None:
        self._data = data
        self._at = 0

    def take(self, count: int) -> bytes:
        if self._at + count > len(self._data):
            raise IndexError("no more bytes")
        self._at += count
        return self._data[self._at - count : self._at]

    def number(self) -> int:
        return self.take(1)[0]

    def counted(self) -> bytes:
        length: int = struct.unpack(">H", self.take(2))[0]
        if length > LONGEST_VALUE:
            raise BadMessageError("a length below 0")
        return self.take(length)


@dataclass(slots=True)
class _Open:
    """An attribute to which values may still come."""

    name: str
    tag: int
    values: list[object]

    def closed(self) -> Attribute:
        return Attribute(self.name, self.tag, tuple(self.values))


def _message(reader: _Reader) -> Message:
    _major, _minor, code, request_id = struct.unpack(">BBHI", reader.take(8))
    groups: list[tuple[int, list[_Open]]] = []
    while (tag := reader.number()) != Tag.END:
        if tag <= _LAST_GROUP:
            groups.append((tag, []))
        elif not groups:
            raise BadMessageError("an attribute outside of a group")
        else:
            name = reader.counted().decode()
            _add(groups[-1][1], tag, name, _value(tag, reader))
    closed = tuple(Group(kind, tuple(each.closed() for each in opened)) for kind, opened in groups)
    return Message(code=code, request_id=request_id, groups=closed)


def _add(attributes: list[_Open], tag: int, name: str, value: object) -> None:
    """Add a value as an attribute, or to the last one when it has no name of its own."""
    if name:
        attributes.append(_Open(name, tag, [value]))
    elif attributes:
        last = attributes[-1]
        last.tag = last.tag if last.values else tag
        last.values.append(value)
    else:
        raise BadMessageError("a value without a name")


def _value(tag: int, reader: _Reader, depth: int = 0) -> object:
    raw = reader.counted()
    if tag == Tag.COLLECTION:
        return _collection(reader, depth + 1)
    if tag in _NO_VALUE:
        return None
    if tag in _INTEGERS:
        return struct.unpack(">i", raw)[0]
    if tag == Tag.BOOLEAN:
        return struct.unpack(">?", raw)[0]
    if tag == Tag.RANGE:
        low, high = struct.unpack(">ii", raw)
        return Range(low=low, high=high)
    if tag == Tag.RESOLUTION:
        across, along, units = struct.unpack(">iiB", raw)
        return Resolution(across=across, along=along, per_cm=units == 4)
    if tag in _IN_LANGUAGE:
        return _in_language(raw)
    return raw.decode() if tag in _TEXTS else raw


def _in_language(raw: bytes) -> str:
    inner = _Reader(raw)
    inner.counted()  # which language it is in
    return inner.counted().decode()


def _collection(reader: _Reader, depth: int) -> Collection:
    if depth > DEEPEST:
        raise BadMessageError(f"collections within collections, more than {DEEPEST}")
    members: list[_Open] = []
    while True:
        tag = reader.number()
        if reader.counted():
            raise BadMessageError("a name within a collection")
        if tag == Tag.END_COLLECTION:
            reader.counted()
            return Collection(tuple(each.closed() for each in members))
        if tag == Tag.MEMBER_NAME:
            members.append(_Open(reader.counted().decode(), tag, []))
        else:
            _add(members, tag, "", _value(tag, reader, depth))


def texts(values: Iterable[object]) -> list[str]:
    """Return those of the values that are texts."""
    return [each for each in values if isinstance(each, str)]


def first_number(values: Sequence[object], otherwise: int) -> int:
    """Return the first value when it is a number."""
    first = values[0] if values else None
    return first if isinstance(first, int) else otherwise
