"""Cleaning rules of sites that lower no warning, and why: a finding for each.

Source: Codex CXC 80-2020, on cleaning that is validated; how a rule is used is
`contact`'s business.
"""

from __future__ import annotations

from datetime import date

from specctl.domain.book import Book
from specctl.problem import WARNING, Problem


def check_cleaning(book: Book, today: date) -> list[Problem]:
    """Findings on the cleaning rules of every site: those that lower nothing, and why."""
    problems = []
    for _, site in sorted(book.sites.items()):
        for id, rule in site.cleaning.items():
            who = f"'{site.name}' cleans {id} by {rule.method}"
            if id not in site.equipment:
                problems.append(
                    Problem(
                        "cleaning-unknown-equipment",
                        rule.place,
                        f"{who}, and does not have it",
                        "Correct the name, or add it under equipment.",
                    )
                )
            elif not rule.lowers:
                lacks = "clears nothing" if rule.method in ("rinse", "wipe") else "has no dated document"
                problems.append(
                    Problem(
                        "cleaning-lowers-nothing",
                        rule.place,
                        f"{who}, which {lacks}: allergens are carried across as before",
                        "Only a wash with a dated document that bears it out lowers a warning.",
                        WARNING,
                    )
                )
            elif today >= rule.trusted_until(book.settings.documents_last):
                problems.append(
                    Problem(
                        "cleaning-document-old",
                        rule.place,
                        f"{who}; its document of {rule.dated} is too old to lower a warning",
                        "Validate the cleaning again and write the new document.",
                        WARNING,
                    )
                )
    return problems
