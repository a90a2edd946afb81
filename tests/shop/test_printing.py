"""What a printer's words mean, where it is, and what a print's state says when its writer is gone."""

from datetime import UTC, datetime, timedelta

import pytest

from tracker.shop.printing import (
    LONGEST_SEND,
    LONGEST_WAIT,
    NO_NUMBER,
    NOT_READ,
    REFUSAL_WORDS,
    SAYS_NOTHING,
    Cause,
    PrinterState,
    PrintState,
    Reason,
    cause_sentence,
    fits_stock,
    print_word,
    printer_state,
    printer_warning,
    read_address,
    reprint_reason,
    state_as_of,
    state_word,
)
from tracker.shop.saying import Tongue, spoken

NOW = datetime(2027, 3, 1, 8, 0, tzinfo=UTC)


# The numbers and the keywords are those of RFC 8011, 5.4.11 and 5.4.12.
@pytest.mark.parametrize(
    ("number", "reasons", "accepts", "state"),
    [
        (3, ["none"], True, PrinterState.READY),
        (4, ["none"], True, PrinterState.BUSY),
        (5, ["none"], True, PrinterState.STOPPED),
        (5, ["paused"], True, PrinterState.STOPPED),
        (5, ["media-empty-error"], True, PrinterState.NO_LABELS),
        (3, ["media-empty"], True, PrinterState.NO_LABELS),
        (5, ["media-needed-warning"], True, PrinterState.NO_LABELS),
        (5, ["media-empty", "cover-open"], True, PrinterState.OPEN),
        (5, ["media-jam"], False, PrinterState.JAM),
        (5, ["marker-supply-empty-error"], True, PrinterState.NO_INK),
        (3, ["media-low-warning"], True, PrinterState.READY),
        (3, ["media-empty-report"], True, PrinterState.READY),
        (3, ["none"], False, PrinterState.CLOSED),
        (77, [], True, PrinterState.STOPPED),
    ],
)
def test_what_a_printer_says_becomes_one_word(
    number: int, reasons: list[str], accepts: bool, state: PrinterState
) -> None:
    assert printer_state(number, reasons, accepts=accepts) is state


def test_what_a_printer_only_reports_is_a_warning() -> None:
    assert printer_warning(["media-empty-report"]) is PrinterState.NO_LABELS
    assert printer_warning(["media-low-report", "none"]) is None


@pytest.mark.parametrize(
    ("text", "address"),
    [
        ("ipp://192.0.2.7", "ipp://192.0.2.7/ipp/print"),
        ("ipp://labels.example:631/", "ipp://labels.example/ipp/print"),
        ("ipps://labels.example:8631/queue", "ipps://labels.example:8631/queue"),
        ("ipp://[2001:db8::7]/ipp/print", "ipp://[2001:db8::7]/ipp/print"),
    ],
)
def test_an_address_is_read_with_the_usual_port_and_path(text: str, address: str) -> None:
    assert str(read_address(text)) == address


@pytest.mark.parametrize(
    "text",
    ["", "labels", "http://192.0.2.7/", "ipp://", "ipp://a b/", "ipp://me:secret@h/", "ipp://h/?x", "ipp://h:99999/",
     "ipp://h:0/", "ipp://h/#x", "ipp://ö.example/", "ipp://" + "h" * 200, "ipp://[::1", "ipp://h/\r\nX: y"],
)  # fmt: skip
def test_what_is_no_address_is_refused_and_says_what_is_wanted(text: str) -> None:
    with pytest.raises(ValueError, match="wanted: ipp://HOST/PATH"):
        read_address(text)


def test_a_print_whose_sender_is_gone_is_not_printed_while_it_waited_and_in_doubt_once_it_was_being_sent() -> None:
    moment = timedelta(seconds=1)
    assert state_as_of(PrintState.WAITING, NOW, NOW + LONGEST_WAIT) is PrintState.WAITING
    assert state_as_of(PrintState.WAITING, NOW, NOW + LONGEST_WAIT + moment) is PrintState.FAILED
    assert state_as_of(PrintState.SENDING, NOW, NOW + LONGEST_SEND) is PrintState.SENDING
    assert state_as_of(PrintState.SENDING, NOW, NOW + LONGEST_SEND + moment) is PrintState.DOUBTFUL
    assert state_as_of(PrintState.SENT, NOW, NOW + timedelta(days=9)) is PrintState.SENT


def test_everything_is_said_in_words() -> None:
    assert all(state_word(each) for each in PrinterState)
    assert all(print_word(each) for each in PrintState)
    assert all(reprint_reason(each) for each in Reason)
    assert all(cause_sentence(each, "no labels") for each in Cause)
    assert "out of labels" in cause_sentence(Cause.NOT_READY, "no labels")
    assert "look at its display" in cause_sentence(Cause.NOT_READY, "a state of a later program")


def test_a_print_that_is_refused_says_which_size_is_which_and_quotes_the_printer() -> None:
    sizes = cause_sentence(Cause.WRONG_SIZE, "100 × 150 mm, 100 × 50 mm")
    assert sizes.startswith("These labels are 100 × 150 mm, and labels of 100 × 50 mm are loaded. Load those of")
    assert cause_sentence(Cause.ABORTED, "Job aborted.") == (
        "The printer gave up. It says: “Job aborted”. Look at what came out."
    )
    assert cause_sentence(Cause.REFUSED, "Not now.") == "The printer refused it. It says: “Not now”."


def test_a_label_fits_a_stock_of_its_size_in_mm_or_in_inches_and_no_other() -> None:
    assert fits_stock((100, 50), (100, 50))
    assert fits_stock((101.6, 50.8), (102, 51))
    assert not fits_stock((100, 50), (50, 100))
    assert not fits_stock((100, 50), (100, 150))


@pytest.mark.parametrize("cause", [Cause.REFUSED, Cause.STRANGE])
def test_what_is_kept_of_a_printers_answer_in_our_own_words_is_said_in_the_readers_language(cause: Cause) -> None:
    ours = [*REFUSAL_WORDS.values(), NO_NUMBER, NOT_READ, SAYS_NOTHING]
    tongue = Tongue(pattern=lambda one, _many, _num: "en otro idioma" if one in ours else one, length=str)
    for words in map(str, ours):
        told = spoken(cause_sentence(cause, words), tongue)
        assert "en otro idioma" in told
        assert words not in told
    assert "Papierstau" in spoken(cause_sentence(cause, "Papierstau"), tongue), "its own words stand as it said them"


def test_the_sizes_of_labels_have_the_readers_decimal_mark() -> None:
    tongue = Tongue(pattern=lambda one, _many, _num: one, length=str, decimal=lambda number: number.replace(".", ","))
    told = spoken(cause_sentence(Cause.WRONG_SIZE, "101.6 × 50.8 mm, 100 × 50 mm"), tongue)
    assert told.startswith("These labels are 101,6 × 50,8 mm, and labels of 100 × 50 mm are loaded.")
    assert "50,8 mm" in spoken(cause_sentence(Cause.PRINTER_SIZE, "101.6 × 50.8 mm"), tongue)
