"""Covers of signatories that would cover nobody: by whom no key is left, or by whom is covered meanwhile.

A cover lends what the person covered holds, and never what they hold by another
cover. One who is away while covering leaves a need that nobody can meet, which
is found when it is written and not on the day. Dates and names that cannot be
are found by the reader and by `references.py`.
"""

from __future__ import annotations

from datetime import date

from specctl.domain.book import Book
from specctl.domain.people import Person
from specctl.problem import Problem


def check_chains(book: Book) -> list[Problem]:
    """A cover by somebody who is covered on one of its days: a right is not passed on twice."""
    people = _people(book)
    problems = []
    for person in people.values():
        for cover in person.covers:
            for other in people[cover.by].covers if cover.by in people and cover.by != person.id else ():
                first, last = max(cover.begins, other.begins), min(cover.ends, other.ends)
                if first <= last:
                    problems.append(
                        Problem(
                            "cover-chain",
                            cover.place,
                            f"{people[cover.by].name} covers {person.name} and is covered too, from {first} to {last}",
                            "A cover is not passed on: name somebody who is there on those days.",
                        )
                    )
    return problems


def check_covers(book: Book, today: date) -> list[Problem]:
    """A cover that is not over, by somebody all of whose keys are retired."""
    people = _people(book)
    return [
        Problem(
            "cover-retired",
            cover.place,
            f"{people[cover.by].name}, who is to cover {person.name} until {cover.ends}, has no key that counts any more",
            "Name somebody who can sign.",
        )
        for person in people.values()
        for cover in person.covers
        if cover.ends >= today and cover.by in people and _retired(people[cover.by])
    ]


def _people(book: Book) -> dict[str, Person]:
    return dict(book.signatories.people) if book.signatories else {}


def _retired(person: Person) -> bool:
    return bool(person.keys) and all(key.retired for key in person.keys.values())
