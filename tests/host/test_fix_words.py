"""What a person writes of parts: which are there and which are not. A part taken for fitted is never proposed, one taken for missing is proposed again."""

import time

import pytest
from hotfuel.fix_words import kinds_gone, kinds_of, names_cooling, parts_of

# text: (kinds there, kinds not there)
WRITTEN = {
    "without cooler and shield": ((), ("cooler", "shield")),
    "without cooler, with shield": (("shield",), ("cooler",)),
    "without a cooler, a shield and a sleeve": ((), ("cooler", "shield", "insulation")),
    "without cooler, shield fitted": (("shield",), ("cooler",)),
    "without cooler; shield": (("shield",), ("cooler",)),
    "no cooler or shield": ((), ("cooler", "shield")),
    "no cooler and no shield": ((), ("cooler", "shield")),
    "no cooler, shield": (("shield",), ("cooler",)),
    "no cooler, shield or sleeve": ((), ("cooler", "shield", "insulation")),
    "no cooler and a shield": (("shield",), ("cooler",)),
    "neither cooler nor shield": ((), ("cooler", "shield")),
    "Without Cooler + Shield": ((), ("cooler", "shield")),
    "without_cooler_and_shield": ((), ("cooler", "shield")),
    "shield without cooler": (("shield",), ("cooler",)),
    "shield instead of cooler": (("shield",), ("cooler",)),
    "sleeve, without cooler or shield but with ice can": (("ice", "insulation"), ("cooler", "shield")),
    "cooler and shield removed": ((), ("cooler", "shield")),
    "spacer fitted and heat shield removed": (("spacer",), ("shield",)),
    "heat shield removed, sleeve taken off; cooler off": ((), ("cooler", "shield", "insulation")),
    "fan off": ((), ("fan",)),
    "cooler with fan": (("cooler", "fan"), ()),
    "one-off heat shield": (("shield",), ()),
    "ice can in the return and shield": (("ice", "shield", "return"), ()),
    "cooler not fitted": ((), ("cooler",)),
    "cooler not connected, shield on": (("shield",), ("cooler",)),
    "cooler isn't fitted": ((), ("cooler",)),
    "cooler isn\N{RIGHT SINGLE QUOTATION MARK}t fitted": ((), ("cooler",)),
    "cooler has not been fitted": ((), ("cooler",)),
    "cooler no longer fitted": ((), ("cooler",)),
    "cooler and shield not fitted": ((), ("cooler", "shield")),
    "not fitted: cooler and shield": ((), ("cooler", "shield")),
    "cooler disconnected": ((), ("cooler",)),
    "cooler bypassed": ((), ("cooler",)),
    "w/o cooler": ((), ("cooler",)),
    "shield w/o cooler": (("shield",), ("cooler",)),
    "cooler, shield and sleeve removed": ((), ("cooler", "shield", "insulation")),
    "spacer fitted, cooler, shield and sleeve removed": (("spacer",), ("cooler", "shield", "insulation")),
    "ice can, heat shield removed": (("ice",), ("shield",)),
    "instead of the cooler an ice can": (("ice",), ("cooler",)),
    "instead of the cooler, an ice can": (("ice",), ("cooler",)),
    "instead of a new cooler": ((), ("cooler",)),
    "in place of cooler: ice can": (("ice",), ("cooler",)),
    "in place of cooler and shield: ice can": (("ice",), ("cooler", "shield")),
    "shield instead of cooler, sleeve": (("shield",), ("cooler", "insulation")),
    "fix no. 3: cooler": (("cooler",), ()),
    "No 1 cooler": (("cooler",), ()),
    "cooler no 2": (("cooler",), ()),
    "hood off cooler on": (("cooler",), ()),
    "cooler off ice can fitted": (("ice",), ("cooler",)),
    "one-off heat shield on": (("shield",), ()),
    "ice-free": ((), ()),
    "non-return valve": ((), ()),
    "none": ((), ()),
    "as built": ((), ()),
    "without": ((), ()),
    "": ((), ()),
}


@pytest.mark.parametrize("text", WRITTEN)
def test_which_parts_are_there(text):
    assert (kinds_of(text), kinds_gone(text)) == WRITTEN[text]


def test_parts_keep_their_words():
    assert parts_of("without cooler and shield, with sleeve") == [("cooler", False), ("shield", False), ("sleeve", True)]


@pytest.mark.parametrize(
    "text",
    [" " * 200_000 + "x", "\t" * 200_000 + "and", "no cooler, " * 5000, "off a " * 20_000, "instead of " * 20_000, "a " * 50_000],
)
def test_a_long_text_takes_a_time_that_grows_with_its_length(text):
    began = time.process_time()
    parts_of(text)
    assert time.process_time() - began < 5


@pytest.mark.parametrize(("text", "cooled"), [("ice can", True), ("without ice can and cooler", False), ("coolant hose", False)])
def test_only_what_is_there_cools(text, cooled):
    assert names_cooling(text) == cooled
