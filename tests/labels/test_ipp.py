"""Messages of the printing protocol, against the examples of the standard and against bytes that are none."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracker.labels.ipp import (
    DEEPEST,
    Attribute,
    BadMessageError,
    Collection,
    Group,
    Message,
    Range,
    Resolution,
    Tag,
    attribute,
    collection,
    decode,
    encode,
)

# RFC 8010, appendix A.1 (Print-Job request), from memory: its octets without the document.
PRINT_JOB = (
    b"\x01\x01\x00\x02\x00\x00\x00\x01\x01"
    b"\x47\x00\x12attributes-charset\x00\x05utf-8"
    b"\x48\x00\x1battributes-natural-language\x00\x05en-us"
    b"\x45\x00\x0bprinter-uri\x00\x2cipp://printer.example.com/ipp/print/pinetree"
    b"\x42\x00\x08job-name\x00\x06foobar"
    b"\x22\x00\x16ipp-attribute-fidelity\x00\x01\x01"
    b"\x02"
    b"\x21\x00\x06copies\x00\x04\x00\x00\x00\x14"
    b"\x44\x00\x05sides\x00\x13two-sided-long-edge"
    b"\x03"
)
# A collection as RFC 8010, 3.1.6 lays it out: its members by name, each followed by its values without one.
MEDIA = (
    b"\x34\x00\x09media-col\x00\x00"
    b"\x4a\x00\x00\x00\x0amedia-size\x34\x00\x00\x00\x00"
    b"\x4a\x00\x00\x00\x0bx-dimension\x21\x00\x00\x00\x04\x00\x00\x27\x10"
    b"\x4a\x00\x00\x00\x0by-dimension\x21\x00\x00\x00\x04\x00\x00\x13\x88"
    b"\x37\x00\x00\x00\x00"
    b"\x37\x00\x00\x00\x00"
)
HEAD = b"\x01\x01\x00\x00\x00\x00\x00\x01"
ASKED = Message(
    code=2,
    request_id=1,
    groups=(
        Group(
            Tag.OPERATION,
            (
                attribute("attributes-charset", Tag.CHARSET, "utf-8"),
                attribute("attributes-natural-language", Tag.LANGUAGE, "en-us"),
                attribute("printer-uri", Tag.URI, "ipp://printer.example.com/ipp/print/pinetree"),
                attribute("job-name", Tag.NAME, "foobar"),
                attribute("ipp-attribute-fidelity", Tag.BOOLEAN, True),
            ),
        ),
        Group(
            Tag.JOB,
            (attribute("copies", Tag.INTEGER, 20), attribute("sides", Tag.KEYWORD, "two-sided-long-edge")),
        ),
    ),
)


def test_the_standards_own_request_is_written_and_read_octet_by_octet() -> None:
    assert encode(ASKED) == PRINT_JOB
    assert decode(PRINT_JOB + b"%PDF") == ASKED


def test_a_collection_is_laid_out_member_by_member() -> None:
    size = collection(
        "media-size", attribute("x-dimension", Tag.INTEGER, 10_000), attribute("y-dimension", Tag.INTEGER, 5_000)
    )
    message = Message(code=0, request_id=1, groups=(Group(Tag.JOB, (collection("media-col", size),)),))
    assert encode(message) == HEAD + b"\x02" + MEDIA + b"\x03"
    assert decode(encode(message)) == message


VALUES = st.one_of(
    st.tuples(st.just(Tag.INTEGER), st.integers(-(2**31), 2**31 - 1)),
    st.tuples(st.just(Tag.BOOLEAN), st.booleans()),
    st.tuples(st.just(Tag.KEYWORD), st.text(max_size=20)),
    st.tuples(st.just(Tag.OCTETS), st.binary(max_size=20)),
    st.tuples(st.just(Tag.RANGE), st.builds(Range, low=st.integers(0, 99), high=st.integers(0, 99))),
    st.tuples(st.just(Tag.RESOLUTION), st.builds(Resolution, across=st.just(203), along=st.just(203))),
)
NAMES = st.text("abc-", min_size=1, max_size=8)


@given(st.lists(st.tuples(NAMES, VALUES, st.integers(1, 3)), max_size=6), st.integers(0, DEEPEST))
def test_what_is_written_is_read_again(given_: list[tuple[str, tuple[Tag, object], int]], depth: int) -> None:
    attributes = tuple(Attribute(name, tag, (value,) * many) for name, (tag, value), many in given_)
    for _level in range(depth):
        attributes = (Attribute("within", Tag.COLLECTION, (Collection(attributes), Collection(()))),)
    message = Message(code=0x0B, request_id=9, groups=(Group(Tag.PRINTER, attributes),))
    assert decode(encode(message)) == message


@given(st.binary(max_size=200))
def test_bytes_that_are_no_message_are_refused_and_nothing_else_happens(data: bytes) -> None:
    for garbled in (data, HEAD + b"\x04" + data, PRINT_JOB[: len(data)] + data):
        try:
            decode(garbled)
        except BadMessageError:
            continue


def test_collections_without_an_end_are_refused() -> None:
    opened = b"\x4a\x00\x00\x00\x01m\x34\x00\x00\x00\x00"
    with pytest.raises(BadMessageError, match="more than 10"):
        decode(HEAD + b"\x04\x34\x00\x01a\x00\x00" + opened * 5_000)


def test_a_text_in_a_language_and_a_value_that_is_not_known_are_read() -> None:
    told = b"\x35\x00\x01t\x00\x0b\x00\x02es\x00\x05vac\xc3\xad" + b"\x12\x00\x01u\x00\x00"
    message = decode(HEAD + b"\x04" + told + b"\x03")
    assert message.values(Tag.PRINTER, "t") == ("vací",)
    assert message.values(Tag.PRINTER, "u") == (None,)
