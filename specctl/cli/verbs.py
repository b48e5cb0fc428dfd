"""The table of verbs: what each is called, where it lives, and its line in the list of all.

A verb's module is imported, and its options are read, when that verb is asked
for: reading the options of all costs more than running most of them. A test
holds every line here against the first line of the verb's own help.
"""

from __future__ import annotations

from collections.abc import Iterator, MutableMapping
from importlib import import_module
from typing import Any

import typer
from typer.core import TyperGroup
from typer.main import get_command

VERBS = {
    "init": ("book_commands:init", "Lay out a new book, seal it with its first signed commit, or make a clone ready for you."),
    "demo": ("demo_command:demo", "Play the whole job on the Tidewick book: propose, report, sign, release, publish, pull."),
    "check": ("book_commands:check", "Find every problem of a book, in one run."),
    "normalise": ("book_commands:normalise", "Turn amounts as the bench reads them into grams, in the files."),
    "show": ("book_commands:show", "Show a drink or prep of the book on disk: amounts, tools, allergens, cost."),
    "propose": ("change_commands:propose", "Turn your edits into a signed proposal, without touching anything else."),
    "proposals": ("change_commands:proposals", "List proposals: what is open, and what each waits for."),
    "report": ("change_commands:report", "Show what a proposal does, merged onto today's main, for every site it touches."),
    "sign": ("statement_commands:sign", "Sign off a proposal, in a clone or on a report alone."),
    "object": ("statement_commands:object_", "Object to a proposal; it cannot be released until you sign it off."),
    "collect": ("statement_commands:collect", "Take signed statements into main."),
    "release": ("change_commands:release", "Release an approved proposal: one signed commit on main, and a signed tag."),
    "publish": ("site_commands:publish", "Write one bundle per site into a plain folder, signed."),
    "pull": ("site_commands:pull", "Fetch, verify and install this site's approved cards, and make its pages."),
    "card": ("site_commands:card", "Show the cards in force at a site, from what it last verified; works offline."),
    "in-force": ("site_commands:in_force", "Answer what a site was shown at a minute: release, entry, signers, reason."),
    "audit": ("control_commands:audit", "Replay main from its first commit and name the first thing that does not hold."),
    "policy": ("control_commands:policy", "Say which rule asks for whom on a proposal, which statements count, and which do not."),
    "settle": ("control_commands:settle", "Settle a conflict of a proposal with main, with a reason that stays."),
    "reinstate": ("control_commands:reinstate", "Propose what a release changed, as it was in that release."),
    "off-sale": ("control_commands:off_sale", "Take an ingredient, lot, prep or drink off sale at once, at every site's next pull."),
    "deviation": ("deviation_commands:deviation", "Allow one site something else in place of an ingredient, until a set end."),
    "why": ("control_commands:why", "Tell who changed a line of a spec, when, by which proposal, and what was signed."),
    "doctor": ("control_commands:doctor", "Find damage of a book's repository, and say what to do about it."),
    "scoop-check": ("bench_commands:scoop_check", "Store weighings of one ingredient with one tool at one site, and say what they prove."),
    "site-fit": ("bench_commands:site_fit", "Show how well a site's own tools hit every amount of its menu, worst first."),
    "sheet": ("sheet_commands:sheet", "Show the allergen sheet of a site or a market, with what to say and nutrition."),
    "trace": ("book_commands:trace", "Show where an ingredient or prep is used: preps, drinks, options, sites."),
}

# What plain git calls by itself; nobody types these, so no list shows them.
FOR_GIT = {
    "merge-driver": "control_commands:merge_driver",
    "fact-text": "control_commands:fact_text",
}


class Verbs(TyperGroup):
    """All verbs under one name, each read when it is asked for."""

    def __init__(self, **settings: Any) -> None:
        super().__init__(**settings)
        self.commands = _WhenAsked()

    def format_commands(self, ctx: Any, formatter: Any) -> None:
        with formatter.section("Commands"):
            formatter.write_dl([(name, line) for name, (_, line) in VERBS.items()])


class _WhenAsked(MutableMapping[str, Any]):
    """Name to command; a command is made at its first look-up."""

    def __init__(self) -> None:
        self._made: dict[str, Any] = dict.fromkeys(VERBS)

    def __getitem__(self, name: str) -> Any:
        if self._made.get(name) is None:
            if name not in VERBS and name not in FOR_GIT:
                raise KeyError(name)
            self._made[name] = _made(name)
        return self._made[name]

    def __setitem__(self, name: str, command: Any) -> None:
        self._made[name] = command

    def __delitem__(self, name: str) -> None:
        del self._made[name]

    def __iter__(self) -> Iterator[str]:
        return iter(name for name in self._made if name not in FOR_GIT)

    def __len__(self) -> int:
        return sum(1 for _ in self)

    def __contains__(self, name: object) -> bool:
        return name in self._made or name in FOR_GIT


def _made(name: str) -> Any:
    module, _, function = (FOR_GIT[name] if name in FOR_GIT else VERBS[name][0]).partition(":")
    alone = typer.Typer(add_completion=False, rich_markup_mode=None, pretty_exceptions_enable=False)
    alone.command(name)(getattr(import_module(f"specctl.cli.{module}"), function))
    return get_command(alone)
