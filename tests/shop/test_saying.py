"""A sentence of the shop is an English text that can be said anew in another language."""

import json
import pickle

from tracker.shop.lengths import Units
from tracker.shop.saying import BareMm, Count, Mm, Number, Said, Tongue, join, say, say_many, spoken, words_of
from tracker.shop.written import length_number, length_text

SPANISH = {
    "box %(box)s": "caja %(box)s",
    "%(size)s wide": "%(size)s de ancho",
    "%(num)d part is missing in %(place)s": "falta %(num)d pieza en %(place)s",
    "%(num)d parts are missing in %(place)s": "faltan %(num)d piezas en %(place)s",
}


def pattern(one: str, many: str, num: int) -> str:
    text = one if num == 1 else many
    return SPANISH.get(text, text)


in_spanish = Tongue(pattern=pattern, length=lambda mm: f"{mm / 25.4:g} pulgadas")


def missing(count: int) -> Said:
    return say_many(
        "%(num)d part is missing in %(place)s",
        "%(num)d parts are missing in %(place)s",
        count,
        place=say("box %(box)s", box="B1"),
    )


def test_a_sentence_reads_as_english_wherever_a_text_is_wanted() -> None:
    assert missing(1) == "1 part is missing in box B1"
    assert json.dumps(missing(2)) == '"2 parts are missing in box B1"'
    assert say("100 %%") == "100 %"


def test_a_sentence_and_what_it_names_are_said_in_another_language() -> None:
    assert spoken(missing(1), in_spanish) == "falta 1 pieza en caja B1"
    assert spoken(missing(2), in_spanish) == "faltan 2 piezas en caja B1"


def test_any_other_text_stays_as_it_is() -> None:
    assert spoken("50 % of box %(box)s", in_spanish) == "50 % of box %(box)s"


def test_sentences_are_joined_and_each_is_still_said_anew() -> None:
    joined = join(["J-1", say("box %(box)s", box=7)], between=": ")
    assert joined == "J-1: box 7"
    assert spoken(joined, in_spanish) == "J-1: caja 7"


def test_a_sentence_outlives_its_process() -> None:
    assert spoken(pickle.loads(pickle.dumps(missing(3))), in_spanish) == "faltan 3 piezas en caja B1"  # noqa: S301


def test_a_length_is_written_as_the_reader_measures() -> None:
    wide = say("%(size)s wide", size=Mm(381))
    assert wide == "381 mm wide"
    assert spoken(wide, in_spanish) == "15 pulgadas de ancho"


def test_one_of_two_lengths_leaves_the_unit_to_the_other() -> None:
    wide = say("%(low)s to %(high)s", low=BareMm(254), high=Mm(508))
    assert wide == "254 to 508 mm"
    in_inches = Tongue(pattern=pattern, length=lambda mm: f"{mm / 25.4:g} in", bare=lambda mm: f"{mm / 25.4:g}")
    assert spoken(wide, in_inches) == "10 to 20 in"


def test_english_writes_a_length_as_the_screens_do() -> None:
    for mm in (0.04, 18, 560.55, 2_800, 1e6):
        assert str(Mm(mm)) == length_text(mm, Units.MM)
        assert str(BareMm(mm)) == length_number(mm, Units.MM)


def test_a_length_that_is_none_stands_as_it_is() -> None:
    assert spoken(say("%(size)s wide", size=Mm(float("nan"))), in_spanish) == "nan mm de ancho"


def test_a_number_of_things_is_written_as_the_reader_sets_thousands_apart() -> None:
    many = say("at most %(most)s", most=Count(20_000))
    assert many == "at most 20,000"
    spaced = Tongue(pattern=pattern, length=str, count=lambda number: f"{number:_}".replace("_", " "))
    assert spoken(many, spaced) == "at most 20 000"


def test_a_number_with_decimals_has_the_readers_mark_before_them() -> None:
    weighed = say("%(mass)s kg weighed.", mass=Number("10.80"))
    assert weighed == "10.80 kg weighed."
    assert spoken(weighed, in_spanish) == "10.80 kg weighed."
    comma = Tongue(pattern=pattern, length=str, decimal=lambda number: number.replace(".", ","))
    assert spoken(weighed, comma) == "10,80 kg weighed."


def test_an_error_hands_on_what_it_says() -> None:
    assert spoken(words_of(ValueError(missing(2))), in_spanish) == "faltan 2 piezas en caja B1"
    assert words_of(ValueError()) == ""
    assert words_of(KeyError(3)) == "3"
