"""Roles that nobody asks for: most often one name spelt in two ways.

A role is whatever the policy asks for, besides those the tool itself knows. A
warning only, for a role may wait for its rule; a rule whose role nobody holds is
an error of `references.py`.
"""

from __future__ import annotations

import difflib

from specctl.domain.book import Book
from specctl.domain.people import AUTHOR, FOOD_SAFETY, FRANCHISE_MANAGER, RELEASER
from specctl.problem import WARNING, Problem

BUILT_IN = frozenset({AUTHOR, FOOD_SAFETY, FRANCHISE_MANAGER, RELEASER})


def check_roles(book: Book) -> list[Problem]:
    """Warnings on roles of signatories that no rule asks for."""
    if book.policy is None or book.signatories is None:
        return []
    asked = {role for rule in book.policy.rules.values() for role in rule.signs} | set(book.policy.otherwise)
    known = asked | BUILT_IN
    problems = []
    for person in book.signatories.people.values():
        for role in sorted(person.roles - known):
            near = difflib.get_close_matches(role, sorted(known), 1)
            meant = f"Did you mean {near[0]}? " if near else ""
            problems.append(
                Problem(
                    "role-unknown",
                    person.place,
                    f"{person.name} holds the role {role}, which no rule of the policy asks for",
                    f"{meant}Known roles: {', '.join(sorted(known))}.",
                    WARNING,
                )
            )
    return problems
