"""A bundle as a value: strict parsing, what is in force, what changed."""

from __future__ import annotations

import copy
import json
from datetime import datetime, timezone

import pytest
from simulated import bundle, encoded, entry

from specctl import canonical
from specctl.errors import NotFound, Untrusted
from specctl.site.bundle import Bundle, Change, Standing


def at(day: int, hour: int = 4) -> datetime:
    return datetime(2026, 1, day, hour, tzinfo=timezone.utc)


def with_timeline(*rows):
    """Rows of (day, release, item, grams or None)."""
    made = bundle()
    made["timeline"], made["entries"], numbers = [], {}, set()
    for day, release, item, grams in rows:
        digest = None
        if grams is not None:
            one = entry(item=item, grams=grams)
            digest = canonical.digest(one)
            made["entries"][digest] = one
        made["timeline"].append([f"2026-01-{day:02d}T04:00:00Z", release, item, digest])
        numbers.add(release)
    made["releases"] = [{"release": 1, "number": number} for number in sorted(numbers)]
    return made


def digest(item: str, grams: str) -> str:
    return canonical.digest(entry(item=item, grams=grams))


A, B = "drink/a", "prep/b"


def test_good_bundle_reads_back():
    read = Bundle.parse(encoded(bundle()))
    assert read.site.id == "quay-steps"
    assert read.book == "tidewick"
    only = next(iter(read.entries))
    assert read.entry(only)["name"] == "Oat tide"
    assert read.release(1)["number"] == 1
    for ask in (lambda: read.entry("0" * 64), lambda: read.release(2)):
        with pytest.raises(NotFound):
            ask()
    with pytest.raises(TypeError):
        read.entries["x"] = {}


def test_in_force_starts_on_its_second():
    read = Bundle.parse(encoded(with_timeline((5, 1, A, "30"))))
    assert read.in_force(datetime(2026, 1, 5, 3, 59, 59, tzinfo=timezone.utc)) == {}
    assert read.in_force(at(5)) == {A: Standing(1, digest(A, "30"), at(5))}


def test_in_force_is_the_newest_release_that_started():
    """A start may lie behind: release 3 starts before release 2 and stays on top of it."""
    read = Bundle.parse(
        encoded(with_timeline((1, 1, A, "30"), (2, 1, B, "9"), (5, 3, A, "33"), (8, 2, A, "32")))
    )
    assert read.in_force(at(4))[A].release == 1
    assert read.in_force(at(6))[A] == Standing(3, digest(A, "33"), at(5))
    assert read.in_force(at(9))[A] == Standing(3, digest(A, "33"), at(5))
    assert list(read.in_force(at(9))) == [A, B]


def test_withdrawn_item_is_told_as_such():
    read = Bundle.parse(encoded(with_timeline((1, 1, A, "30"), (5, 2, A, None))))
    assert read.in_force(at(6))[A] == Standing(2, None, at(5))
    assert read.changed_since(at(4), at(6)) == (Change(A, digest(A, "30"), None),)


def test_upcoming_and_changed_since():
    read = Bundle.parse(
        encoded(with_timeline((1, 1, A, "30"), (1, 1, B, "9"), (5, 2, A, "31"), (9, 3, A, "30")))
    )
    assert [(row.release, row.item) for row in read.upcoming(at(4))] == [(2, A), (3, A)]
    assert read.changed_since(at(4), at(6)) == (Change(A, digest(A, "30"), digest(A, "31")),)
    assert read.changed_since(at(4), at(10)) == ()  # there and back is no change
    assert read.changed_since(datetime(2025, 1, 1, tzinfo=timezone.utc), at(2)) == (
        Change(A, None, digest(A, "30")),
        Change(B, None, digest(B, "9")),
    )


def spoiled(change) -> bytes:
    made = copy.deepcopy(bundle())
    change(made)
    return json.dumps(made).encode()


def one_entry(made):
    return next(iter(made["entries"].values()))


def resigned(made, change):
    """Changes the entry and names it by its new digest, as a careless publisher would."""
    one = one_entry(made)
    change(one)
    made["entries"] = {canonical.digest(one): one}
    made["timeline"][0][3] = canonical.digest(one)


BAD = {
    "later format": ("$.bundle", lambda b: b.update(bundle=2)),
    "true for one": ("$.bundle", lambda b: b.update(bundle=True)),
    "unknown field": ("$.cost", lambda b: b.update(cost="1.20")),
    "missing field": ("$.statements", lambda b: b.pop("statements")),
    "site field": ("$.site.price", lambda b: b["site"].update(price="1")),
    "site id": ("$.site.id", lambda b: b["site"].update(id="../up")),
    "site id newline": ("$.site.id", lambda b: b["site"].update(id="quay\n")),
    "zone": ("$.site.time_zone", lambda b: b["site"].update(time_zone="../../etc/passwd")),
    "clock": ("$.site.day_starts", lambda b: b["site"].update(day_starts="24:00")),
    "main": ("$.main", lambda b: b.update(main="main")),
    "row of three": ("$.timeline[0]", lambda b: b["timeline"][0].pop()),
    "start with a zone": ("$.timeline[0][0]", lambda b: b["timeline"][0].__setitem__(0, "2026-01-05T04:00:00+01:00")),
    "start on no day": ("$.timeline[0][0]", lambda b: b["timeline"][0].__setitem__(0, "2026-02-30T04:00:00Z")),
    "release zero": ("$.timeline[0][1]", lambda b: b["timeline"][0].__setitem__(1, 0)),
    "release true": ("$.timeline[0][1]", lambda b: b["timeline"][0].__setitem__(1, True)),
    "item": ("$.timeline[0][2]", lambda b: b["timeline"][0].__setitem__(2, "tool/x")),
    "another item": ("$.timeline[0]", lambda b: b["timeline"][0].__setitem__(2, "drink/x")),
    "absent entry": ("$.timeline[0]", lambda b: b["timeline"][0].__setitem__(3, "0" * 64)),
    "short digest": ("$.timeline[0][3]", lambda b: b["timeline"][0].__setitem__(3, "0" * 8)),
    "repeated row": ("$.timeline[1]", lambda b: b["timeline"].append(b["timeline"][0])),
    "unsorted": ("$.timeline[1]", lambda b: b["timeline"].append(["2026-01-01T04:00:00Z", 1, "drink/b", None])),
    "no record": ("$.timeline[0]", lambda b: b["releases"].clear()),
    "two records": ("$.releases[1]", lambda b: b["releases"].append(b["releases"][0])),
    "record of another book": ("$.releases[0].book", lambda b: b["releases"][0].update(book="x")),
    "row of another site": ("$.releases[0].entries", lambda b: b["releases"][0].update(entries=[["x", "drink/a", None, None]])),
    "statement": ("$.statements[0]", lambda b: b["statements"].append({})),
    "entry changed": ("its bytes are not", lambda b: one_entry(b).update(name="Other")),
    "allergen dropped": ("its bytes are not", lambda b: one_entry(b)["allergens"][0]["contains"].clear()),
    "float in an entry": ("not strict JSON", lambda b: one_entry(b).update(entry=1.0)),
    "float anywhere": ("not strict JSON", lambda b: b["releases"][0].update(extra=0.5)),
    "not a number": ("not strict JSON", lambda b: b["releases"][0].update(extra=float("nan"))),
    "lone surrogate": ("not strict JSON", lambda b: b.update(book_name="\ud800")),
    "another market": (".market", lambda b: resigned(b, lambda e: e.update(market="us"))),
    "entry field": (".cost", lambda b: resigned(b, lambda e: e.update(cost="1"))),
    "no allergens": (".allergens", lambda b: resigned(b, lambda e: e.pop("allergens"))),
    "no standard row": (".allergens", lambda b: resigned(b, lambda e: e["allergens"].clear())),
    "no unknown list": (".unknown", lambda b: resigned(b, lambda e: e["allergens"][0].pop("unknown"))),
    "nameless fact": (".contains", lambda b: resigned(b, lambda e: e["allergens"][0]["contains"][0].pop("name"))),
}


@pytest.mark.parametrize("case", BAD)
def test_bad_bundle_is_refused_with_its_place(case):
    words, change = BAD[case]
    with pytest.raises(Untrusted) as refusal:
        Bundle.parse(spoiled(change))
    assert words in str(refusal.value)


@pytest.mark.parametrize(
    "data",
    [b"", b"[]", b"null", b"\xef\xbb\xbf{}", b"\xff", b"[" * 200_000, b'{"bundle":1,"bundle":1}',
     b'{"bundle":' + b"9" * 10_000 + b"}", b"{} {}"],
)
def test_bytes_that_are_no_bundle(data):
    with pytest.raises(Untrusted):
        Bundle.parse(data)


def test_size_cap(monkeypatch):
    data = encoded(bundle())
    monkeypatch.setattr("specctl.site.bundle.CAP", len(data) - 1)
    with pytest.raises(Untrusted, match="larger"):
        Bundle.parse(data)


def test_repeated_key_is_refused_though_the_rest_is_good():
    data = encoded(bundle())
    doubled = data.replace(b'"book_name":', b'"book_name":"Other","book_name":', 1)
    assert json.loads(doubled) == json.loads(data)
    with pytest.raises(Untrusted, match="not strict JSON"):
        Bundle.parse(doubled)
