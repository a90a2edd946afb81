"""What each surface says a box lacks and what stays behind, read as a person or a program reads it."""

import re
from dataclasses import dataclass
from typing import Any

from flask.testing import FlaskClient
from lxml import html

Element = Any  # lxml has no types
_NUMBER = re.compile(r"\d+")
_COUNTED = re.compile(r"(?P<item>.+): (?P<counted>\d+) of \d+ counted")
_BOXES_OF_JOB = re.compile(r"(\d+) of (\d+) boxes sealed, (\d+) shipped")
_PART, _BOX = re.compile(r"P\d{10}"), re.compile(r"B\d{10}")


@dataclass(frozen=True)
class Lack:
    """What a surface says of one box: the parts that are missing, and of each item that is short how many are in."""

    parts: frozenset[str] = frozenset()
    items: tuple[tuple[str, int], ...] = ()

    def __bool__(self) -> bool:
        return bool(self.parts or self.items)


def lack(parts: Any, items: dict[str, int]) -> Lack:
    """Return what a box lacks."""
    return Lack(frozenset(parts), tuple(sorted(items.items())))


def short_items(items: list[dict[str, Any]]) -> dict[str, int]:
    """Of the items as the interface gives them, those that are not all counted."""
    return {each["item"]: each["counted"] or 0 for each in items if (each["counted"] or 0) < each["quantity"]}


class Api:
    """Calls the interface with a token."""

    def __init__(self, client: FlaskClient, token: str) -> None:
        self.client = client
        self.headers = {"Authorization": f"Bearer {token}"}

    def get(self, path: str) -> Any:
        answer = self.client.get(f"/api/v1{path}", headers=self.headers)
        assert answer.status_code == 200, (path, answer.text)
        return answer.json

    def post(self, path: str, body: Any) -> tuple[int, Any]:
        answer = self.client.post(f"/api/v1{path}", headers=self.headers, json=body)
        assert answer.status_code < 500, (path, answer.text)
        return answer.status_code, answer.json

    def missing(self, job: str = "") -> dict[str, Lack]:
        return {
            each["box"]: lack((part["code"] for part in each["missing"]), short_items(each["items"]))
            for each in self.get(f"/missing?job={job}&limit=200")["items"]
        }


class Pages:
    """Looks at the pages as somebody signed in."""

    def __init__(self, client: FlaskClient) -> None:
        self.client = client

    def look(self, path: str) -> Element:
        answer = self.client.get(path, headers={"Accept": "text/html"})
        assert answer.status_code == 200, (path, answer.text[:300])
        return html.document_fromstring(answer.text)

    def missing(self, query: str = "") -> dict[str, Lack]:
        """The list of what is missing; boxes that lack nothing and wait for something else are left out."""
        found = {}
        for section in self.look(f"/missing{query}").xpath('//section[starts-with(@data-key, "box-")]'):
            box = code_in(section.xpath('.//a[starts-with(@href, "/boxes/")]')[0], _BOX)
            parts = [text_of(each) for each in section.xpath("./table/tbody//td/code")]
            counted = [_COUNTED.fullmatch(text_of(each)) for each in section.xpath(".//details//li")]
            said = lack(parts, {each["item"]: int(each["counted"]) for each in counted if each})
            assert len(counted) == len(said.items)
            assert bool(section.xpath('.//span[@class="lacks"]')) is bool(said), text_of(section)
            if said:
                found[box] = said
        return found

    def box(self, code: str) -> tuple[int, Lack]:
        """The number of parts that a box's page says are missing, and what its tables show."""
        page = self.look(f"/boxes/{code}")
        told = page.xpath('//p[@class="state"]/span[@class="word"]')
        count = first_number(text_of(told[0])) if told and "missing" in text_of(told[0]) else 0
        rows = page.xpath('//section[@aria-labelledby="parts"]//tbody/tr[.//span[@class="open"]]')
        items = page.xpath('//section[@aria-labelledby="items"]//li[span[@class="open"]]')
        short = {}
        for each in items:
            words = text_of(each.xpath("./span")[0])
            short[text_of(each).removesuffix(words).split(" × ", 1)[1].strip()] = first_number(words) or 0
        return count, lack((code_in(row, _PART) for row in rows), short)

    def bench(self, station: str) -> tuple[str, Lack] | None:
        """The box that a bench shows, and what of it is missing."""
        page = self.look(f"/pack/{station}")
        head = page.xpath('//section[@data-region="head"]/@data-box')
        if not head:
            return None
        missing = page.xpath('//section[@data-region="missing"]')[0]
        names = missing.xpath("./ol/li")
        title = missing.xpath("./h3")
        assert first_number(text_of(title[0]) if title else "0") == len(names)
        listed = page.xpath('//div[@data-region="lacks"]/ul/li')
        assert len(listed) == len(names)
        short = {
            each.get("data-item"): int(each.get("data-was"))
            for each in page.xpath('//section[@data-region="items"]//li')
            if int(each.get("data-was")) < int(each.get("data-quantity"))
        }
        parts = page.xpath('//section[@data-region="missing"]/ol/li/@data-part')
        return head[0], lack(parts, short)

    def load(self, code: str) -> tuple[set[str], set[str]]:
        """The boxes that a load's page says keep it from leaving, and those that stay behind."""
        page = self.look(f"/loads/{code}")
        keeping = page.xpath('//section[@aria-labelledby="boxes"]//li[@class="short"]/h3//code')
        staying = page.xpath('//section[@aria-labelledby="stays"]//li//a/@href')
        return {text_of(each) for each in keeping}, {each.rsplit("/", 1)[1] for each in staying}

    def board(self) -> dict[str, list[int]]:
        """Of each job on the board: how many boxes are sealed, there are, have shipped, and are still owed."""
        found = {}
        for section in self.look("/").xpath('//section[starts-with(@data-key, "job-")]'):
            counts = _BOXES_OF_JOB.search(text_of(section))
            assert counts is not None, text_of(section)
            owed = section.xpath('.//strong[@class="owed"]')
            found[text_of(section.xpath("./h2/a")[0])] = [
                *(int(each) for each in counts.groups()),
                first_number(text_of(owed[0])) if owed else 0,
            ]
        return found


def text_of(element: Element) -> str:
    """The words of an element, in one line."""
    return " ".join(element.text_content().split())


def code_in(element: Element, kind: re.Pattern[str]) -> str:
    """The first code of a kind in an element."""
    found = kind.search(text_of(element))
    assert found is not None, text_of(element)
    return found[0]


def boxes_in(words: str) -> set[str]:
    """The codes of boxes in a sentence."""
    return set(_BOX.findall(words))


def first_number(words: str) -> int:
    """The first number in a text; 0 where there is none."""
    found = _NUMBER.search(words)
    return int(found[0]) if found else 0
