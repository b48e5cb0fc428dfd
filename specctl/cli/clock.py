"""The one clock of the command line. `SPECCTL_NOW` (an ISO time in UTC) sets it, for rehearsals and tests."""

from __future__ import annotations

import os
from datetime import date, datetime, timezone

from specctl.errors import Usage


def now() -> datetime:
    """The time, in UTC, whole seconds."""
    given = os.environ.get("SPECCTL_NOW")
    if given:
        return moment(given, "SPECCTL_NOW")
    return datetime.now(timezone.utc).replace(microsecond=0)


def moment(text: str, what: str) -> datetime:
    """An ISO date and time; without a zone it is UTC, a date alone its last second."""
    try:
        if len(text) == 10:
            return datetime.fromisoformat(f"{text}T23:59:59+00:00")
        read = datetime.fromisoformat(text.replace("Z", "+00:00"))
    except ValueError:
        raise Usage(f"{what} is not a time: {text!r}", "Write it as 2026-11-25T08:30:00Z or 2026-11-25.") from None
    return read.replace(tzinfo=read.tzinfo or timezone.utc).astimezone(timezone.utc)


def day(text: str | None, what: str) -> date | None:
    """An ISO date, or None for none given."""
    if text is None:
        return None
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise Usage(f"{what} is not a day of the calendar: {text!r}", "Write it as 2026-12-01.") from None
