"""`scoop-check`: weighings become a record, or a clear refusal."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from specctl.cli.main import main

def run(book: Path, *words: str) -> int:
    return main(["scoop-check", "harbour-row", "skim-milk-powder", "scoop-amber", "--who", "Ada", "--book", str(book), *words])


CHECK = "scoop-checks/harbour-row-skim-milk-powder-scoop-amber.yaml"


def test_a_check_is_stored_and_an_old_one_edited_in_place(book: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = book / CHECK
    file.write_text(file.read_text().replace("who:", "# by the window\nwho:") + "note: kept\n")
    assert run(book, "--weigh", "4.3 g, 4.4 g, 4.2 g, 4.3 g, 4.5 g", "--json") == 0
    said = json.loads(capsys.readouterr().out)
    assert said["mean_g"] == "4.34" and said["weighings"] == 5 and said["proves"] and said["due"] == "2027-05-24"
    text = file.read_text()
    assert "# by the window" in text and "note: kept" in text and "mean: 4.34 g" in text and "weighings: 5" in text
    assert main(["check", "--book", str(book)]) == 0


def test_a_busy_hour_stands_beside_the_quiet_one(book: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(book, "--busy", "--weigh", "4.9 g, 5.1 g, 5.0 g, 5.2 g, 4.8 g") == 0
    assert (book / CHECK.replace(".yaml", "-busy.yaml")).is_file()
    assert "a bias" in capsys.readouterr().out


def test_look_writes_nothing_and_asks_for_a_busy_hour(book: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before = (book / CHECK).read_bytes()
    assert run(book, "--look", "--weigh", "4.3 g, 4.4 g") == 0
    assert "Weigh it again at a busy hour" in capsys.readouterr().out
    assert (book / CHECK).read_bytes() == before


def test_a_csv(book: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "weighed.csv"
    file.write_text("when,weight (g)\n09:00,4.3\n09:01,4.4\n09:02,4.25\n")
    assert run(book, "--csv", str(file), "--column", "weight (g)", "--json") == 0
    assert json.loads(capsys.readouterr().out)["mean_g"] == "4.317"
    assert run(book, "--csv", str(file)) == 1
    assert "several columns" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("weighed", "said"),
    [
        ("4.3 g", "one weighing"), ("-4 g, 4 g", "sign"), ("0 g, 4 g", "zero"), ("4 g, 0.14 oz-av", "more than one unit"),
        ("4.3 g, 4.4 g, 4.2 g, 4.3 g, 7.9 g", "weighing 5, 7.9 g"), ("4.2 g, 4.3 g, 4.2 g, 6.1 g, 6.2 g, 6.1 g", "two things"),
        ("4, 4.1", "no unit"), ("84 g, 85 g", "weighings-absurd"), ("4.3 ml, 4.2 ml", "unit of volume"), ("", "no weighing"),
    ],
)
def test_bad_weighings_store_nothing(book: Path, capsys: pytest.CaptureFixture[str], weighed: str, said: str) -> None:
    before = (book / CHECK).read_bytes()
    assert run(book, "--weigh", weighed) == 1
    assert said in capsys.readouterr().err
    assert (book / CHECK).read_bytes() == before


@pytest.mark.parametrize(
    ("rows", "where"),
    [
        ("09:00,4.3\n\n09:01,-4.4\n", "weighed.csv:4:7"), ("09:00,4.3\n09:01,0\n", "weighed.csv:3:7"),
        ("09:00,4.3 g\n09:01,0.2 oz-av\n", "weighed.csv:2:7"), ("09:00,4.3\n", "weighed.csv:2:7"), ("09:00,84\n09:01,85\n", "weighed.csv:2:7"),
        ("09:00,4.3\n09:01,4.4\n\n9:02,7.9\n09:03,4.3\n09:04,4.2\n", "weighed.csv:5:6"),
    ],
)
def test_a_bad_weighing_in_a_file_is_pointed_at(book: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], rows: str, where: str) -> None:
    file = tmp_path / "weighed.csv"
    file.write_text(f"when,weight (g)\n{rows}")
    assert run(book, "--csv", str(file), "--column", "weight (g)") == 1
    assert where in capsys.readouterr().err


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["nowhere", "matcha", "scoop-teal"], "no site"), (["kelp-lane", "mtcha", "scoop-teal"], "Did you mean matcha"),
        (["kelp-lane", "matcha", "scoop-amber"], "has no scoop-amber"), (["kelp-lane", "matcha", "scale-1g"], "no one dose"),
        (["kelp-lane", "whole-milk", "scoop-teal"], "not measured with"),
    ],
)
def test_bad_names(book: Path, capsys: pytest.CaptureFixture[str], words: list[str], said: str) -> None:
    assert main(["scoop-check", *words, "--who", "Ada", "--weigh", "3 g, 3.1 g", "--book", str(book)]) == 1
    assert said in capsys.readouterr().err


def test_a_day_ahead_and_an_older_check_are_refused(book: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(book, "--weigh", "4.3 g, 4.4 g", "--date", "2027-01-01") == 1
    assert run(book, "--weigh", "4.3 g, 4.4 g", "--date", "2020-01-01") == 1
    assert "older check" in capsys.readouterr().err


def test_the_step_of_the_scale_in_whatever_unit(book: Path, capsys: pytest.CaptureFixture[str]) -> None:
    # thousandths of a kilogram are whole grams: an even rounding spreads by 1 / sqrt(12) g
    for weighed in ("0.004 kg, 0.004 kg, 0.004 kg", "4 g, 4 g, 4 g"):
        assert run(book, "--look", "--weigh", weighed, "--json") == 0
        assert json.loads(capsys.readouterr().out)["spread_g"] == "0.289"


def test_when_it_is_due_again_is_the_books_to_say(book: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = book / "book.yaml"
    file.write_text(file.read_text() + "scoop_checks_last: 30 d\n")
    assert run(book, "--weigh", "4.3 g, 4.4 g", "--json") == 0
    assert json.loads(capsys.readouterr().out)["due"] == "2026-12-25"
    main(["site-fit", "saltmarket", "--json", "--book", str(book)])
    late = {row["scoop_check"]: row["due"] for row in json.loads(capsys.readouterr().out)["checks_due"]}
    assert late["saltmarket-matcha-scoop-teal"] == "2026-10-07"


@pytest.mark.parametrize(
    ("was", "now"),
    [("\nproduct_code: ORR-9044", "\nproduct_code: ORR-9045"), ("supplier: Orrin Leaf Merchants", "supplier: Holm Leaf"), ("is: 0.3 g/ml", "is: 0.31 g/ml")],
)
def test_a_check_is_void_when_what_was_weighed_changes(book: Path, capsys: pytest.CaptureFixture[str], was: str, now: str) -> None:
    weighed = "1.5 g, 1.52 g, 1.48 g, 1.5 g, 1.51 g"
    assert main(["scoop-check", "saltmarket", "matcha", "scoop-teal", "--who", "Ada", "--weigh", weighed, "--book", str(book)]) == 0
    file = book / "ingredients" / "matcha.yaml"
    text = file.read_text()
    assert was in text

    def told() -> list[tuple[str, str]]:
        capsys.readouterr()
        main(["site-fit", "saltmarket", "--json", "--book", str(book)])
        lines = [row["line"] for row in json.loads(capsys.readouterr().out)["amounts"]]
        return [(line["measure"]["verdict"], line["measure"]["note"] or "") for line in lines if line["of"] == "ingredient/matcha"]

    before = told()
    assert any(verdict == "within" for verdict, _ in before) and not any("is void" in note for _, note in before)
    file.write_text(text.replace(was, now))
    after = told()
    assert any("is void" in note for _, note in after) and all(verdict != "within" for verdict, _ in after)
