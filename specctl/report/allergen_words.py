"""The names of allergens in the language of the page.

A market's list names its allergens; its names win, in whatever language they
are written. Only a name of the lists that ship, which are English, is said in
another language, and it keeps every member it names. What is not known here
stays as the list has it.

Source of the German names: Regulation (EU) No 1169/2011, Annex II, German text;
names that only other countries' lists have are common German names of the same food.
"""

from __future__ import annotations

from specctl.report.tongue import _, later

NAMES = frozenset((
    later("Added sulphites"), later("Almond"), later("almond"), later("barley"), later("black walnut"), later("Brazil nut"),
    later("Buckwheat"), later("buckwheat"), later("California walnut"), later("Cashew"), later("cashew"), later("Celery"),
    later("celery"), later("Cereals containing gluten"), later("Cereals containing gluten (wheat, rye, barley)"), later("Crab"),
    later("crab"), later("Crustacea"), later("crustacea"), later("crustacea (crab)"), later("crustacea (shrimp, prawn)"),
    later("Crustacean"), later("crustacean"), later("crustacean (crab)"), later("crustacean (shrimp, prawn)"),
    later("Crustacean shellfish"), later("crustacean shellfish"), later("Crustaceans"), later("crustaceans"),
    later("crustaceans (crab)"), later("crustaceans (shrimp)"), later("crustaceans (shrimp, prawn)"),
    later("Crustaceans and molluscs"), later("Egg"), later("egg"), later("Eggs"), later("Fish"), later("fish"), later("Gluten"),
    later("gluten (barley)"), later("gluten (oats)"), later("gluten (rye)"), later("Gluten sources"), later("Hazelnut"),
    later("hazelnut"), later("hazelnut (filbert)"), later("heartnut (Japanese walnut)"), later("Lupin"), later("lupin"),
    later("Macadamia"), later("macadamia"), later("macadamia (bush nut)"), later("macadamia (Queensland nut)"),
    later("macadamia nut"), later("Milk"), later("milk"), later("Milk (including lactose)"), later("Mollusc"), later("mollusc"),
    later("Molluscs"), later("molluscs"), later("Mustard"), later("mustard"), later("Nuts"), later("oats"), later("Peanut"),
    later("peanut"), later("Peanuts"), later("Pecan"), later("pecan"), later("Persian walnut (English walnut)"),
    later("Pine nut"), later("pine nut"), later("pine nut (pinon nut)"), later("Pistachio"), later("pistachio"), later("rye"),
    later("Sesame"), later("sesame"), later("Sesame seeds"), later("shrimp"), later("Shrimp (including prawn and lobster)"),
    later("Soy"), later("soy"), later("soya"), later("Soybeans"), later("Sulphites"), later("sulphites"),
    later("Sulphur dioxide and sulphites"), later("sulphur dioxide and sulphites"), later("Tree nuts"), later("triticale"),
    later("triticale (wheat and rye)"), later("Walnut"), later("walnut"), later("walnut (black)"), later("walnut (California)"),
    later("walnut (heartnut)"), later("Wheat"), later("wheat"), later("Wheat (and gluten)"), later("wheat (triticale)"),
    later("Wheat and triticale"),
))  # fmt: skip


def allergen_word(name: str) -> str:
    """`milk` as the language of the page calls it; a name of a book's own stays as it is."""
    return _(name) if name in NAMES else name
