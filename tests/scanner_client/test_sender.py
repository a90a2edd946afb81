"""Talking to the server: every kind of answer, and none."""

from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import pytest

from scanner_client.plan import Heard
from scanner_client.queue import Reading
from scanner_client.sender import Answer, Server
from tests.scanner_client.service import Service, expected_page
from tracker.shop.codes import part_code

READINGS = [
    Reading(id=f"id-{number}", code=part_code(number), at="2027-03-01T08:00:00+00:00", station="SAW-1")
    for number in (1, 2)
]


def test_readings_go_out_with_the_token_and_answers_come_back_by_id(service: Service) -> None:
    reply = Server(service.address + "/", "secret").send(READINGS)
    assert reply.heard is Heard.ANSWERS
    said = Answer(outcome="done", ok=True, message="The service says done.", part=part_code(1), box="B0000000141")
    assert reply.answers == {"id-1": said, "id-2": replace(said, part=part_code(2))}
    assert service.tokens == {"Bearer secret"}
    assert next(iter(service.stored.values())) == {
        "id": "id-1",
        "code": part_code(1),
        "at": "2027-03-01T08:00:00+00:00",
        "station": "SAW-1",
    }


def test_a_reading_without_a_station_leaves_it_to_the_token(service: Service) -> None:
    Server(service.address, "secret").send([Reading(id="i", code=part_code(1), at="t")])
    assert "station" not in service.stored["i"]


@pytest.mark.parametrize(
    ("status", "heard"),
    [
        (401, Heard.TOKEN_NOT_ACCEPTED),
        (403, Heard.TOKEN_NOT_ACCEPTED),
        (413, Heard.REFUSED),
        (422, Heard.REFUSED),
        (400, Heard.AWAY),
        (404, Heard.AWAY),
        (429, Heard.AWAY),
        (500, Heard.AWAY),
        (503, Heard.AWAY),
    ],
)
def test_a_status_says_what_to_do_and_the_servers_words_are_kept(service: Service, status: int, heard: Heard) -> None:
    service.trouble = status
    reply = Server(service.address, "secret").send(READINGS)
    assert (reply.heard, reply.why, reply.answers) == (heard, f"Trouble {status}.", {})


def test_a_redirection_is_not_followed_so_that_the_token_goes_nowhere_else(service: Service) -> None:
    service.trouble = 302
    assert Server(service.address, "secret").send(READINGS).heard is Heard.AWAY
    assert len(service.batches) == 1
    assert not [path for path in service.visits if "elsewhere" in str(path)]


def test_each_request_says_when_it_was_sent_by_the_clock_of_the_readings(service: Service) -> None:
    service.ahead_s = 3600.5
    clock = datetime(2027, 3, 1, 8, 0, tzinfo=UTC)
    reply = Server(service.address, "secret", clock=lambda: clock).send(READINGS)
    assert service.sent_at == ["2027-03-01T08:00:00+00:00"]
    assert reply.ahead_s == 3600.5
    Server(service.address, "secret").send(READINGS)
    assert datetime.fromisoformat(service.sent_at[1]).utcoffset() is not None


def test_what_may_come_is_read_and_anything_else_is_none(service: Service) -> None:
    server = Server(service.address, "secret", timeout_s=1)
    assert server.expected("SAW 1/x", 5) is None
    assert service.visits == ["/api/v1/expected?station=SAW+1%2Fx&since=5"]
    service.expected = expected_page(part_code(1))
    page = server.expected("", 0, "12")
    assert service.visits[-1] == "/api/v1/expected?since=0&after=12"
    assert page is not None
    assert (page.station, page.step, page.at, page.whole, page.next) == ("SAW-1", "pack", 7, True, "")
    assert [row.title for row in page.items] == ["End, cabinet 101, box 1"]
    nonsense: list[dict[str, Any]] = [{"items": 3}, {"items": [{}]}, {"at": "x"}, {"gone": None}]
    for broken in nonsense:
        service.expected = expected_page(**broken)
        assert server.expected("", 0) is None
    assert Server("http://127.0.0.1:1", "secret").expected("", 0) is None


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"<html>sign in to the guest network</html>",
        b"[]",
        b"null",
        b"{}",
        b'{"results": 7}',
        b'{"results": ["id-1"]}',
        b'{"results": [{"id": "id-1"}]}',
        b'{"results": [{"id": "id-1", "outcome": "done", "ok": "false"}]}',
        b'{"results": [{"id": ["id-1"], "outcome": "done", "ok": true}]}',
        b'{"results": [{"id": "another", "outcome": "done", "ok": true}]}',
        b"\xff\xfe",
        b"[" * 100_000,
    ],
)
def test_an_answer_that_makes_no_sense_is_no_answer(service: Service, body: bytes) -> None:
    service.trouble = body
    reply = Server(service.address, "secret").send(READINGS)
    assert (reply.heard, dict(reply.answers)) == (Heard.AWAY, {})
    assert reply.why


def test_an_answer_for_some_counts_for_those(service: Service) -> None:
    service.trouble = b'{"results": [{"id": "id-2", "outcome": "done", "ok": true}]}'
    assert set(Server(service.address, "secret").send(READINGS).answers) == {"id-2"}


def test_a_server_that_is_gone_or_hangs_up_or_is_slow_is_away_and_the_reason_is_plain(service: Service) -> None:
    service.trouble = "lost"
    assert Server(service.address, "secret").send(READINGS).heard is Heard.AWAY
    service.trouble = "stalled"
    slow = Server(service.address, "secret", timeout_s=0.05).send(READINGS)
    assert (slow.heard, slow.why) == (Heard.AWAY, "the server does not answer (timed out)")
    gone = Server("http://127.0.0.1:1", "secret").send(READINGS)
    assert gone.heard is Heard.AWAY
    assert "refused" in gone.why
    assert "urlopen" not in gone.why


@pytest.mark.parametrize("address", ["shop:8000", "ftp://shop", "http://", "http://shop:port", "http://shop:99999", ""])
def test_an_address_that_is_none_is_refused(address: str) -> None:
    with pytest.raises(ValueError, match=r"address|[Pp]ort"):
        Server(address, "secret")


@pytest.mark.parametrize("token", ["two words", "line\nbreak", "schlüssel"])
def test_a_token_that_cannot_stand_in_a_request_is_refused(token: str) -> None:
    with pytest.raises(ValueError, match="the token is not one word"):
        Server("http://shop", token)
