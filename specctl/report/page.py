"""Makes one self-contained HTML page from a template and values; the only jinja2.

A page opens offline: its style is inside it, it runs no script and its own
policy forbids every request. Each text that reaches a template is made visible
and escaped; the filter `bdi` also keeps its reading direction to itself. Same
values, same bytes: no clock, no environment.
"""

from __future__ import annotations

import base64
import hashlib
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from specctl.report.clean import visible
from specctl.report.paper import page_rules
from specctl.report.tongue import _, _n, direction, language
from specctl.report.words import say

if TYPE_CHECKING:
    from jinja2 import Environment


def render(template: str, *, footer: str, **context: object) -> str:
    """The page `template` (a name below `report/templates`) filled with `context`.

    `footer` is the line repeated on each printed page. A name the template uses
    and `context` lacks is a bug and raises.
    """
    rules = page_rules(footer)
    page = _environment().get_template(template)
    return page.render(
        **context,
        language=language(),
        direction=direction(),
        policy=_policy(_style(), rules),
        style=_markup(_style()),
        print_rules=_markup(rules),
        footer=footer,
    )


def macros(template: str, **context: object) -> Any:
    """The macros of `template` as functions that give markup; `context` is what they may name."""
    return _environment().get_template(template).make_module(dict(context))


@cache
def _environment() -> Environment:
    from jinja2 import Environment, PackageLoader, StrictUndefined

    environment = Environment(
        loader=PackageLoader("specctl.report", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=_finalize,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    environment.filters["bdi"] = _isolated
    environment.filters["trusted"] = _markup
    environment.filters["filled"] = _filled
    environment.globals.update(say=say, _=_, _n=_n)
    return environment


def _finalize(value: Any) -> Any:
    return visible(value) if type(value) is str else value


def _isolated(text: object) -> Any:
    from markupsafe import Markup, escape

    return Markup("<bdi>") + escape(visible(str(text))) + Markup("</bdi>")


def _filled(sentence: str, **values: object) -> Any:
    """A sentence with its places filled: texts made visible and escaped, markup as it is."""
    from markupsafe import Markup, escape

    shown = {name: escape(visible(value) if type(value) is str else value) for name, value in values.items()}
    return Markup(escape(sentence)).format_map(shown)


def _markup(trusted: str) -> Any:
    from markupsafe import Markup

    return Markup(trusted)


@cache
def _style() -> str:
    text = files("specctl.report").joinpath("style.css").read_text(encoding="utf-8")
    if "</" in text:
        raise ValueError("style.css would end its own element")
    return text.replace("\r\n", "\n")


def _policy(*styles: str) -> str:
    """A content security policy that allows these style elements and nothing else."""
    hashes = " ".join(f"'sha256-{_hash(style)}'" for style in styles)
    return f"default-src 'none'; style-src {hashes}; base-uri 'none'; form-action 'none'"


def _hash(text: str) -> str:
    return base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
