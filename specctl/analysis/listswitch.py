"""A market's allergen list on a day: lists that take over, and switches that are due.

A released entry is compiled with the list its market names; a switch is a
change like any other and goes to the counters by a proposal that starts on its
day. A sheet for a day uses that day's list at once.
"""

from __future__ import annotations

from datetime import date

from specctl.domain.book import Book
from specctl.problem import WARNING, Problem


def check_switches(book: Book, today: date) -> list[Problem]:
    """Lists a switch names that are not there, and switches whose day has come."""
    problems = []
    for _, market in sorted(book.markets.items()):
        for day, id in market.switches:
            if id not in book.lists and f"list/{id}" not in book.broken:
                problems.append(
                    Problem(
                        "list-unknown",
                        market.place,
                        f"'{market.name}' goes over to allergen list {id} on {day}, which the book does not have",
                        "Add it under lists/, or correct the name.",
                    )
                )
        due = market.list_on(today)
        if due != market.allergen_list and due in book.lists:
            problems.append(
                Problem(
                    "list-switch-due",
                    market.place,
                    f"'{market.name}' was to go over to allergen list {due}, and its cards still use {market.allergen_list}",
                    "Propose it: write the new list under allergen_list and take the switch out.",
                    WARNING,
                )
            )
    return problems
