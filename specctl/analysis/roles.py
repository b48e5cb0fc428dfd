"""Roles that nobody asks for or nobody holds: most often one name spelt in two ways.

A role is whatever the policy asks for, besides those the tool itself knows. Both
findings are warnings: a role may wait for its rule, or a rule for its person.
"""

from __future__ import annotations

import difflib

from specctl.domain.book import Book
from specctl.domain.people import AUTHOR, FOOD_SAFETY, FRANCHISE_MANAGER, RELEASER
from specctl.problem import WARNING, Place, Problem

BUILT_IN = frozenset({AUTHOR, FOOD_SAFETY, FRANCHISE_MANAGER, RELEASER})


def check_roles(book: Book) -> list[Problem]:
    """Warnings on roles of signatories no rule asks for, and on roles of rules that nobody holds."""
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
    held = {role for person in book.signatories.people.values() for role in person.roles}
    for role in sorted(asked - held):
        problems.append(
            Problem(
                "role-empty",
                Place("policy.yaml"),
                f"the policy asks for {role}, and nobody in signatories.yaml holds that role",
                "What asks for it can never be approved: correct the name, or name somebody.",
                WARNING,
            )
        )
    return problems
