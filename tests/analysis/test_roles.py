"""A role spelt in two ways is told, not passed over; no source, it follows from what a policy is."""

from __future__ import annotations

from dataclasses import replace

from specctl import resources
from specctl.analysis.roles import check_roles
from specctl.codec.load import load
from specctl.domain.book import Book


def demo() -> Book:
    root = resources.demo_book()
    book = load({p.relative_to(root).as_posix(): p.read_bytes() for p in root.rglob("*.yaml")}).book
    assert book is not None
    return book


def with_roles(book: Book, old: str, new: str) -> Book:
    assert book.signatories is not None
    people = {i: replace(p, roles=frozenset(new if r == old else r for r in p.roles)) for i, p in book.signatories.people.items()}
    return replace(book, signatories=replace(book.signatories, people=people))


def test_the_demo_book_spells_every_role_alike() -> None:
    assert check_roles(demo()) == []


def test_a_role_spelt_otherwise_is_told_with_the_one_that_was_meant() -> None:
    found = check_roles(with_roles(demo(), "food-safety", "food-saftey"))
    assert {p.code for p in found} == {"role-unknown"} and {p.severity for p in found} == {"warning"}
    unknown = [p for p in found if p.code == "role-unknown"]
    assert all("Did you mean food-safety?" in p.todo and p.place.file == "signatories.yaml" and p.place.line for p in unknown)


def test_a_book_without_policy_says_nothing() -> None:
    assert check_roles(replace(demo(), policy=None)) == []
