"""The station: what is taken, sent, shown and sounded. The clock is the test's own; nothing is waited for."""

import json
import threading
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from uuid import UUID

import pytest

from scanner_client.clock import SteadyClock
from scanner_client.queue import Queue
from scanner_client.refreshing import Refreshing
from scanner_client.screen import BELL, Screen
from scanner_client.sender import Server
from scanner_client.shown import NONE
from scanner_client.station import PATIENCE_S, TWICE_WITHIN_S, Station
from scanner_client.station_list import StationList
from tests.scanner_client.service import Service, expected_page
from tests.waiting import HANGS_AFTER_S, until
from tracker.shop.codes import Code, Kind, box_code, part_code

CODES = [part_code(number) for number in range(1, 13)]
UNDO, CARD, SLOT = (str(Code(kind, number)) for kind, number in ((Kind.COMMAND, 1), (Kind.COMMAND, 2), (Kind.SLOT, 3)))


class Bench:
    """A station, its queue and screen, and a clock that goes on by hand."""

    def __init__(self, service: Service, folder: Path) -> None:
        self.queue = Queue(folder / "queue.db")
        self.lines: list[str] = []
        self.now = 0.0
        self.station = self.another_station(service)

    def another_station(self, service: Service, timeout_s: float = HANGS_AFTER_S) -> Station:
        server = Server(service.address, "secret", timeout_s=timeout_s)
        return Station(self.queue, server, Screen(self.lines.append), name="SAW-1", clock=lambda: self.now)

    def take(self, *codes: str, every_s: float = TWICE_WITHIN_S) -> None:
        for code in codes:
            self.now += every_s
            self.station.take(code)

    def send_all(self) -> None:
        """Send until nothing waits, however long the pauses."""
        for _step in range(100):
            pause = self.station.step()
            if pause is None:
                return
            self.now += pause
        raise AssertionError("the queue never got empty")

    def said(self, word: str) -> list[str]:
        return [line for line in self.lines if line[2:].startswith(word)]


@pytest.fixture
def bench(service: Service, tmp_path: Path) -> Iterator[Bench]:
    made = Bench(service, tmp_path)
    yield made
    made.queue.close()


def test_readings_are_answered_in_order_each_with_a_word_a_sentence_and_a_bell(bench: Bench, service: Service) -> None:
    bench.take(CODES[0], box_code(7), UNDO)
    bench.send_all()
    assert service.codes == [CODES[0], box_code(7), UNDO]
    assert [(line[0], line[2:14].strip(), line.count(BELL)) for line in bench.lines] == [
        ("+", "DONE", 1),
        ("!", "CLOSED", 3),
        ("+", "TAKEN BACK", 1),
    ]
    assert "The service says box_closed." in bench.lines[1]


def test_a_reading_has_its_id_its_time_with_an_offset_and_its_station_before_it_is_sent(bench: Bench) -> None:
    bench.take(CODES[0])
    (reading,) = bench.queue.first(9)
    assert UUID(reading.id).version == 4
    assert datetime.fromisoformat(reading.at).utcoffset() is not None
    assert (reading.code, reading.station) == (CODES[0], "SAW-1")


def test_case_and_surrounding_spaces_do_not_matter(bench: Bench, service: Service) -> None:
    bench.take(f" {CODES[0].lower()} \r")
    bench.send_all()
    assert service.codes == [CODES[0]]


def test_with_a_card_or_a_slot_goes_the_part_that_was_shown_and_the_answer_names_it(
    bench: Bench, service: Service
) -> None:
    bench.take(CODES[0], CODES[1], CARD, SLOT, "misread", CARD)
    bench.send_all()
    assert [scan.get("part") for scan in service.stored.values()] == [None, None, CODES[1], CODES[1], None, NONE]


def test_with_the_server_away_a_card_names_the_part_that_it_marks_or_says_that_there_is_none(
    bench: Bench, service: Service
) -> None:
    service.trouble = 503
    bench.take(CODES[0])
    bench.station.step()
    bench.take(CARD, str(Code(Kind.BOARD, 1)), SLOT)
    assert f"{CARD}  {CODES[0]}: 2 kept here" in bench.said("KEPT")[-2]
    (none,) = bench.said("NO PART?")
    assert "Scan the part, then this again" in none
    service.trouble = ""
    bench.send_all()
    assert [scan.get("part") for scan in service.stored.values()] == [None, CODES[0], None, NONE]


def test_the_station_is_the_one_where_the_reading_was_made(bench: Bench, service: Service) -> None:
    bench.take(CODES[0])
    bench.station = Station(bench.queue, Server(service.address, "secret"), Screen(bench.lines.append), name="BAND-1")
    bench.take(CODES[1])
    bench.send_all()
    assert [scan["station"] for scan in service.stored.values()] == ["SAW-1", "BAND-1"]


def test_with_the_server_away_it_says_so_once_keeps_readings_and_says_when_all_arrived(
    bench: Bench, service: Service
) -> None:
    service.trouble = 503
    bench.take(CODES[0])
    for _time in range(3):
        bench.now += bench.station.step() or 0
    assert len(bench.said("NO SERVER")) == 1
    assert "Trouble 503. Go on scanning: 1 kept here." in bench.said("NO SERVER")[0]
    bench.take(CODES[1], CODES[2])
    assert [line.split("  ")[-1] for line in bench.said("KEPT")] == [
        f"{count} kept here, sent as soon as the server takes them{BELL}" for count in (1, 2, 3)
    ]
    service.trouble = ""
    bench.send_all()
    assert service.codes == CODES[:3]
    assert bench.lines[-1].startswith("+ ALL SENT")
    bench.take(CODES[3])
    bench.send_all()
    assert len(bench.said("ALL SENT")) == 1


def test_a_token_that_is_not_accepted_is_said_and_the_readings_are_kept(bench: Bench, service: Service) -> None:
    service.trouble = 401
    bench.take(CODES[0])
    bench.station.step()
    assert len(bench.said("TOKEN NOT ACCEPTED")) == 1
    assert bench.queue.waiting() == 1
    service.trouble = ""
    bench.send_all()
    assert service.codes == CODES[:1]


@pytest.mark.parametrize("trouble", ["lost", "stalled", b"{}", b'{"results": []}'])
def test_an_answer_that_is_lost_or_late_or_nonsense_is_asked_for_again_with_the_same_ids(
    bench: Bench, service: Service, trouble: str | bytes
) -> None:
    bench.take(*CODES[:3])
    ids = [reading.id for reading in bench.queue.first(9)]
    service.trouble = trouble
    bench.another_station(service, timeout_s=0.2).step()
    assert bench.queue.waiting() == 3
    service.trouble = ""
    service.go_on.set()
    bench.send_all()
    assert list(service.stored) == ids
    assert len(bench.said("DONE")) == 3


def test_only_the_readings_that_were_answered_for_leave_the_queue(bench: Bench, service: Service) -> None:
    bench.take(*CODES[:3])
    first, second, third = bench.queue.first(9)
    service.trouble = json_result(second.id, "done")
    bench.station.step()
    assert bench.queue.first(9) == [first, third]
    assert [CODES[1] in line for line in bench.lines] == [True]


def test_readings_that_the_server_never_takes_are_set_aside_with_its_reason_and_the_rest_goes_on(
    bench: Bench, service: Service
) -> None:
    service.poison = {CODES[2], CODES[8]}
    bench.take(*CODES)
    bench.send_all()
    assert service.codes == [code for code in CODES if code not in service.poison]
    assert [(reading.code, why) for reading, why in bench.queue.aside()] == [
        (CODES[2], "This code spoils it."),
        (CODES[8], "This code spoils it."),
    ]
    assert ["This code spoils it." in line for line in bench.said("SET ASIDE")] == [True, True]
    assert bench.station.set_aside == 2


def test_a_batch_that_is_too_large_is_sent_in_pieces(bench: Bench, service: Service) -> None:
    service.most = 2
    bench.take(*CODES)
    bench.send_all()
    assert service.codes == CODES
    assert bench.queue.aside() == []


def test_the_same_label_twice_in_a_moment_is_said_and_sent_once(bench: Bench, service: Service) -> None:
    bench.take(CODES[0])
    bench.take(CODES[0], CODES[0].lower(), every_s=TWICE_WITHIN_S - 0.1)
    assert len(bench.said("TWICE")) == 2
    bench.take(CODES[0])
    bench.send_all()
    assert service.codes == [CODES[0]] * 2


def test_another_code_is_never_blocked_and_makes_the_next_reading_a_new_intention(
    bench: Bench, service: Service
) -> None:
    bench.take(CODES[0], UNDO, CODES[0], every_s=0.1)
    bench.send_all()
    assert service.codes == [CODES[0], UNDO, CODES[0]]
    assert bench.said("TWICE") == []


@pytest.mark.parametrize("text", ["P0000123400", "hello", "X" * 200])
def test_a_misread_is_told_on_the_spot_and_still_reaches_the_log_and_is_told_once(
    bench: Bench, service: Service, text: str
) -> None:
    bench.take(text)
    assert len(bench.said("SCAN AGAIN")) == 1
    assert bench.lines[0].count(BELL) == 3
    service.trouble = json_result(bench.queue.first(1)[0].id, "misread")
    bench.send_all()
    assert service.batches == [[text]]
    assert len(bench.said("SCAN AGAIN")) == 1


def test_the_sscc_of_a_box_is_sent_as_its_digits_and_one_with_a_wrong_digit_is_a_misread(
    bench: Bench, service: Service
) -> None:
    bench.take("]C1\x1d00340123450000000017")
    bench.take("00340123450000000018")
    assert len(bench.said("SCAN AGAIN")) == 1
    bench.send_all()
    assert service.codes == ["340123450000000017", "00340123450000000018"]


def json_result(id_: str, outcome: str) -> bytes:
    return json.dumps({"results": [{"id": id_, "outcome": outcome, "ok": False, "message": "So it is."}]}).encode()


def test_a_code_that_only_the_server_calls_a_misread_is_told(bench: Bench, service: Service) -> None:
    bench.take(CODES[0])
    service.trouble = json_result(bench.queue.first(1)[0].id, "misread")
    bench.send_all()
    assert len(bench.said("SCAN AGAIN")) == 1


def test_what_could_steer_a_terminal_is_shown_and_sent_as_a_mark(bench: Bench, service: Service) -> None:
    bench.take("P00\x1b[2J\x00" + CODES[0])
    bench.send_all()
    mark = "\N{REPLACEMENT CHARACTER}"
    assert service.codes == [f"P00{mark}[2J{mark}{CODES[0]}"]
    assert not any("\x1b" in line for line in bench.lines)


def test_what_an_earlier_run_left_is_said_at_the_start_and_when_it_has_arrived(bench: Bench, service: Service) -> None:
    bench.take(*CODES[:3])
    bench.queue.set_aside(bench.queue.first(1)[0], "refused")
    station = bench.another_station(service)
    station.start()
    until(lambda: bench.said("ALL SENT"))
    assert station.stop()
    assert "2 readings from before" in bench.said("WAITING")[0]
    assert "1 reading from before" in bench.said("SET ASIDE")[0]
    assert service.codes == CODES[1:3]


def test_a_slow_server_does_not_delay_the_taking_of_readings(bench: Bench, service: Service) -> None:
    service.trouble = "stalled"
    server = Server(service.address, "secret", timeout_s=HANGS_AFTER_S)
    station = Station(bench.queue, server, Screen(bench.lines.append))
    station.start()
    station.take(CODES[0])
    until(lambda: service.batches)
    for code in CODES[1:]:
        station.take(code)
    assert service.batches == [CODES[:1]], "the first is still on its way"
    assert bench.queue.waiting() == len(CODES)
    service.trouble = ""
    service.go_on.set()
    station.drain(HANGS_AFTER_S, threading.Event())
    assert bench.queue.waiting() == 0
    assert station.stop()
    assert service.codes == CODES


def test_a_reading_that_the_disk_does_not_take_is_said_so_and_may_be_made_again_at_once(
    bench: Bench, service: Service
) -> None:
    bench.queue.close()
    bench.take(CODES[0], CODES[0], every_s=0.1)
    assert len(bench.said("NOT KEPT")) == 2
    assert bench.said("TWICE") == []


def test_a_disk_that_fails_while_readings_are_sent_is_told_and_the_sending_goes_on_trying(
    bench: Bench, service: Service
) -> None:
    service.trouble = "stalled"
    station = Station(bench.queue, Server(service.address, "secret"), Screen(bench.lines.append))
    station.start()
    station.take(CODES[0])
    until(lambda: service.batches)
    bench.queue.close()
    service.go_on.set()
    until(lambda: bench.said("DISK"))
    assert station._sending.is_alive()
    assert station.stop()


class Listed:
    """A station with a list of its own, whose server can be away."""

    def __init__(self, bench: Bench, service: Service, folder: Path) -> None:
        self.bench, self.service = bench, service
        self.wall = datetime(2027, 3, 1, 8, 0, tzinfo=UTC)
        service.expected = expected_page(*CODES[:4])
        self.time_of_day = SteadyClock(wall=lambda: self.wall, ticks=lambda: bench.now)
        self.server = Server(service.address, "secret", timeout_s=HANGS_AFTER_S, clock=self.time_of_day.now)
        self.list = StationList(folder / "queue.list.db", of="here")
        assert self.list.refresh(self.server, "SAW-1")
        bench.station = self.station()

    def station(self) -> Station:
        return Station(
            self.bench.queue,
            self.server,
            Screen(self.bench.lines.append),
            name="SAW-1",
            expected=self.list,
            clock=lambda: self.bench.now,
            time_of_day=self.time_of_day,
        )

    def away(self) -> None:
        """The server goes away, and the station has found out."""
        self.service.trouble = 503
        self.bench.station.server_away = True

    def back(self) -> None:
        self.service.trouble = ""
        self.bench.send_all()


@pytest.fixture
def listed(bench: Bench, service: Service, tmp_path: Path) -> Iterator[Listed]:
    made = Listed(bench, service, tmp_path)
    yield made
    made.list.close()


def test_with_the_server_away_a_reading_is_judged_by_the_list_and_marked_as_not_said_by_the_server(
    bench: Bench, listed: Listed
) -> None:
    listed.away()
    bench.take(CODES[0], CODES[9], CODES[0])
    assert [line.split("  ")[0] for line in bench.lines] == [
        f"? LOOKS RIGHT? {CODES[0]}",
        f"? NOT EXPECTED? {CODES[9]}",
        f"? ALREADY COUNTED? {CODES[0]}",
    ]
    assert all("Not yet said by the server" in line for line in bench.lines)
    assert [line.count(BELL) for line in bench.lines] == [1, 3, 1]


def test_an_answer_that_says_the_same_is_quiet_and_one_that_differs_is_loud(
    bench: Bench, listed: Listed, service: Service
) -> None:
    listed.away()
    bench.take(CODES[0], CODES[1], CODES[9])
    second = bench.queue.first(9)[1].id
    service.trouble = json_result(second, "replaced")
    bench.station.step()
    (stop,) = bench.said("STOP")
    assert stop.startswith(f"! STOP         {CODES[1]}  was taken as right, and is not. OLD LABEL: So it is.")
    assert stop.count(BELL) == 5
    listed.back()
    (done,) = bench.said("DONE")
    assert (CODES[0] in done, done.count(BELL)) == (True, 0)
    (cleared,) = bench.said("RIGHT")
    assert f"{CODES[9]}  was doubted, and is right. DONE" in cleared
    assert cleared.count(BELL) == 2
    assert listed.list.look(CODES[1]).word == "LOOKS RIGHT"
    assert listed.list.look(CODES[0]).word == "ALREADY COUNTED"


def test_what_was_told_before_a_restart_is_taken_back_after_it(bench: Bench, listed: Listed, service: Service) -> None:
    listed.away()
    bench.take(CODES[0])
    bench.station = listed.station()
    service.trouble = json_result(bench.queue.first(1)[0].id, "replaced")
    bench.station.step()
    assert len(bench.said("STOP")) == 1


def test_readings_that_wait_long_for_their_answers_are_judged_meanwhile_of_many_the_latest(
    bench: Bench, listed: Listed
) -> None:
    bench.take(*CODES[:8], every_s=0)
    bench.station.tell_what_is_due()
    assert bench.lines == []
    bench.now += PATIENCE_S
    bench.station.tell_what_is_due()
    bench.station.tell_what_is_due()
    assert [line.split()[2:4] for line in bench.lines] == [
        *(["RIGHT?", CODES[3]], ["EXPECTED?", CODES[4]], ["EXPECTED?", CODES[5]]),
        *(["EXPECTED?", CODES[6]], ["EXPECTED?", CODES[7]]),
    ]
    listed.back()
    assert [line.count(BELL) for line in bench.said("DONE")] == [1, 1, 1, 0]
    assert len(bench.said("RIGHT")) == 4


def test_a_reading_that_the_server_answers_at_once_is_not_judged_by_the_list(bench: Bench, listed: Listed) -> None:
    bench.take(CODES[0])
    listed.back()
    bench.now += 10
    bench.station.tell_what_is_due()
    assert [line[2:6] for line in bench.lines] == ["DONE"]


def test_a_step_that_was_taken_back_is_expected_again(bench: Bench, listed: Listed, service: Service) -> None:
    listed.away()
    bench.take(CODES[0], UNDO, CODES[0])
    assert [line[2:13] for line in bench.lines] == ["LOOKS RIGHT", "KEPT       ", "LOOKS RIGHT"]


def test_readings_keep_their_order_when_the_clock_is_set_back_an_hour_and_the_worker_is_told_once(
    bench: Bench, listed: Listed, service: Service
) -> None:
    listed.away()
    bench.take(CODES[0])
    listed.wall -= timedelta(hours=1)
    bench.take(CODES[1], CODES[2])
    times = [reading.at for reading in bench.queue.first(9)]
    assert times == sorted(times)
    (told,) = bench.said("CLOCK")
    assert "was just put 60 min back" in told
    listed.back()
    assert service.sent_at[-1] >= times[-1]
    bench.take(CODES[3])
    assert bench.queue.first(1)[0].at < times[0]


def test_a_clock_that_the_server_finds_wrong_is_told_once_until_it_is_right_again(
    bench: Bench, service: Service
) -> None:
    for ahead_s in (3600.0, 3600.0, 0.0, -7200.0):
        service.ahead_s = ahead_s
        bench.take(CODES[0])
        bench.send_all()
    assert [line[15:60] for line in bench.said("CLOCK")] == [
        "this computer's clock is 60 min ahead. Readin"[:45],
        "this computer's clock is 2 hours behind. Read"[:45],
    ]


def test_the_list_is_kept_fresh_while_nothing_waits_and_shows_early_that_the_server_is_away(
    bench: Bench, listed: Listed, service: Service
) -> None:
    for away in (False, True):
        service.trouble = 503 if away else ""
        asked = len(service.visits)
        refreshing = Refreshing(bench.station, listed.list, listed.server, name="SAW-1")
        refreshing.start()
        until(lambda asked=asked: len(service.visits) > asked)  # type: ignore[misc]
        until(lambda away=away: bench.station.server_away is away)  # type: ignore[misc]
        refreshing.stop()
    bench.take(CODES[0])
    assert len(bench.said("LOOKS RIGHT")) == 1
