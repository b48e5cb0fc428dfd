"""What is printed of changes and conflicts holds to the published schemas, whatever was edited.

The judge is jsonschema on `schema/*.schema.json`, after a trip through JSON, and
RFC 8785: the rows must be canonical JSON.
"""

from __future__ import annotations

import json
from typing import Any

import pytest
from edit_pairs import mixed
from hypothesis import given
from hypothesis import settings as examples
from jsonschema import Draft202012Validator
from jsonschema.exceptions import ValidationError
from make_records import threes
from referencing import Registry, Resource

from specctl.actions.colliding import Collisions
from specctl.actions.merging import file_changes, merge_trees
from specctl.actions.settling import SettledDone, dispute
from specctl.canonical import canonical
from specctl.change import collision
from specctl.change.collision import Collision
from specctl.change.dispute import conflict_between
from specctl.change.facts import diff, facts
from specctl.change.merge import merge
from specctl.resources import schema_folder

SCHEMAS = {p.name: json.loads(p.read_bytes()) for p in schema_folder().glob("*.schema.json")}
REGISTRY: Any = Registry().with_resources([(name, Resource.from_contents(held)) for name, held in SCHEMAS.items()])
COMMIT = "0123456789abcdef" * 2 + "01234567"
STANDS = {"disputed": 1, "proposal": "3-more-paste", "main": COMMIT, "edited_from": COMMIT}


def holds(name: str, told: Any) -> None:
    Draft202012Validator(SCHEMAS[f"{name}.schema.json"], registry=REGISTRY).validate(json.loads(json.dumps(told)))
    canonical(told)


@given(threes())
@examples(max_examples=120)
def test_whatever_is_edited_its_changes_and_conflicts_hold(three: tuple[dict[str, Any], ...]) -> None:
    base, ours, theirs = (facts(side) for side in three)
    merged = merge(base, ours, theirs, "drinks/some.yaml")
    told = STANDS | dispute({"drinks/some.yaml": diff(ours, merged.facts)}, merged.conflicts, None)
    holds("changes", told)
    assert len(told["conflicts"]) == len(merged.conflicts)


def test_edits_of_real_records_hold() -> None:
    pairs = mixed(12, 11)
    moved = 0
    for one, two in zip(pairs, pairs[1:], strict=False):
        path = one.path
        # One pair's edit against another's of the same file, where there is one: some of those clash.
        theirs = two.theirs if two.path == path else one.theirs
        merged = merge_trees({path: one.base}, {path: one.ours}, {path: theirs})
        told = STANDS | dispute(file_changes({path: one.base}, merged.files), merged.conflicts, None)
        holds("changes", told)
        moved += bool(told["changes"][path])
    assert moved > 5
    unreadable = merge_trees({path: one.base}, {path: one.ours}, {path: b"a: ["})
    holds("changes", STANDS | dispute({}, unreadable.conflicts, None))
    assert dispute({}, unreadable.conflicts, None)["conflicts"][0]["path"] == []


def test_what_is_settled_and_what_collides_holds() -> None:
    kinds = (collision.CONFLICT, collision.DOUBLE, collision.TOGETHER, collision.CROSSING, collision.COST, collision.NUMBER)
    found = tuple(Collision("1-one", "2-two", kind, "drinks/some.yaml", "both do") for kind in kinds)
    holds("collisions", Collisions(found, ("1-one", "2-two"), (("3-three", "it is a draft"),)).as_json())
    (clash,) = merge(facts({"name": "a"}), facts({"name": "b"}), facts({"name": "c"}), "drinks/some.yaml").conflicts
    words = conflict_between(clash, None, "main", "the proposal")
    holds("settled", SettledDone("1-one", COMMIT, COMMIT, ((clash.file, "name", "main", words), (clash.file, "", "proposal", words)), False).as_json())


@pytest.mark.parametrize(
    "spoilt",
    [{"disputed": 2}, {"main": "main"}, {"more": 1}, {"changes": {"f": [[["a"], 1.5, None]]}}, {"changes": {"f": [[["a"], 1]]}}, {"conflicts": [{"file": "f"}]}],
)
def test_another_version_or_shape_is_refused(spoilt: dict[str, Any]) -> None:
    """A schema that takes anything would show nothing."""
    with pytest.raises(ValidationError):
        holds("changes", STANDS | dispute({}, (), None) | spoilt)
