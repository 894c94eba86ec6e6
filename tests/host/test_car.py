"""The car file: the example, one sentence for every kind of mistake, and units on every quantity."""

import contextlib
import string
from typing import get_args

import pytest
from hotfuel import car, places
from hotfuel.errors import InputError
from hypothesis import given
from hypothesis import strategies as st

SMALL = '[fuel]\nclass = "D4814 A-1"\n'


def refused(text):
    with pytest.raises(InputError) as caught:
        car.load(text)
    return str(caught.value)


def test_the_example_is_a_whole_car_in_si():
    example = car.load(car.EXAMPLE)
    assert example.altitude_m == 600
    assert example.pump.pressure_kpa == pytest.approx(5.5 * 6.894757)
    assert example.suction.line_bore_m == pytest.approx(0.0079375)
    assert example.suction.launch_acceleration_m_s2 == pytest.approx(0.6 * 9.80665)
    assert [place.name for place in example.places] == ["tank", "pump", "carb_inlet"]
    assert [place.role for place in example.places] == ["tank", "pump", "carburettor"]
    assert example.fuel().limit_degc(101.325) == pytest.approx(60.67, abs=0.05)  # ASTM D4814's equation, by hand: 60.67


def test_a_probe_that_lags_by_minutes_is_refused():
    text = SMALL + '[[place]]\nname = "pump"\nchannel = 0\nrole = "pump"\nprobe = {{ lag = "{} s" }}\n'
    assert car.load(text.format(120)).places[0].probe.lag_s == 120
    assert refused(text.format(600)) == 'car file: place[1].probe.lag is "600 s": allowed is 0 s to 120 s'


def test_every_line_the_example_comments_out_is_a_valid_line():
    lines, chosen = car.EXAMPLE.splitlines(), []
    for line in lines:
        bare = line.removeprefix("# ")
        is_key = line.startswith("# ") and bare.split(" = ")[0].isidentifier() and " = " in bare
        is_table = line.startswith("# [[") and "]]" in bare
        chosen.append(bare if is_table or (is_key and not bare.startswith(("class", "blend", "station_pressure"))) else line)
    assert chosen != lines
    whole = car.load("\n".join(chosen))
    assert whole.suction.suction_full_kpa == pytest.approx(3 * 3.386389)
    assert whole.pump.vapour_liquid_ratio == 20
    assert [told.name for told in whole.inputs] == ["mixture", "line_meter"]
    for other in ("class", "blend"):  # each in place of a measured fuel
        (line,) = [line for line in lines if line.startswith(f"# {other} = ")]
        assert car.load(f"[fuel]\n{line[2:]}\n").fuel().limit_degc(101.325) < 60


def test_a_small_file_gets_the_three_usual_places():
    small = car.load(SMALL)
    assert [(place.name, place.channel, place.role) for place in small.places] == [
        ("tank", 0, "tank"), ("pump", 1, "pump"), ("carb_inlet", 2, "carburettor"),
    ]  # fmt: skip
    assert small.fuel().limit_degc(101.325) == pytest.approx(54, abs=0.1)  # ASTM D4814-18 table 3: class 1, 54 degC


@pytest.mark.parametrize(
    ("text", "key", "said"),
    [
        (SMALL + '[pump]\nkind = "mecanical"\n', "pump.kind", "'mechanical'"),
        (SMALL + '[pump]\npresure = "6 psi"\n', "pump.presure", '"pressure"'),
        (SMALL + "[pump]\npressure = 6\n", "pump.pressure is 6", "with its unit"),
        (SMALL + '[pump]\npressure = "6"\n', "pump.pressure", "has no unit"),
        (SMALL + '[pump]\npressure = "6 degC"\n', "pump.pressure", "kPa, psi"),
        (SMALL + '[pump]\npressure = "600 psi"\n', "pump.pressure", "0 kPa to 700 kPa"),
        (SMALL + '[pump]\npressure = "-1 psi"\n', "pump.pressure", "0 kPa to 700 kPa"),
        (SMALL + '[suction]\nlift = "9 m"\n', "suction.lift", "-3 m to 3 m"),
        (SMALL + '[tank]\nsealed = "yes"\n', "tank.sealed", "boolean"),
        ('altitude = "9000 m"\n' + SMALL, "altitude", "6000 m"),
        ('altitude = "1e9 m"\n' + SMALL, "altitude", "6000 m"),
        ('altitude = "1e999 m"\n' + SMALL, "altitude", "too large a number"),
        ('name = "x"\n', "fuel", "missing"),
        ("fuel = 3\n", "fuel is 3", "[fuel]"),
        ('place = "pump"\n' + SMALL, 'place is "pump"', "[[place]]"),
        ("name = 3\n" + SMALL, "name is 3", "quotes"),
        ('name = "  "\n' + SMALL, "name", "at least 1"),
        ('[fuel]\nethanol = "10 %"\n', "fuel", "vapour_pressure"),
        ('[fuel]\nclass = "A"\nvapour_pressure = "60 kPa"\n', "fuel", "not both"),
        (SMALL + '[[place]]\nname = "Pump"\nchannel = 0\nrole = "pump"\n', "place[1].name", "small letters"),
        (SMALL + '[[place]]\nname = "thirteen_char"\nchannel = 0\nrole = "pump"\n', "place[1].name", "1 to 12"),
        (SMALL + '[[place]]\nname = "a_needle"\nchannel = 0\nrole = "pump"\n', "place[1].name", "_needle"),
        (SMALL + '[[place]]\nname = "pump"\nchannel = 8\nrole = "pump"\n', "place[1].channel is 8", "7"),
        (SMALL + '[[place]]\nname = "pump"\nchannel = "1"\nrole = "pump"\n', "place[1].channel", "integer"),
        (SMALL + '[[place]]\nname = "pump"\nchannel = 1\nrole = "heart"\n', "place[1].role", "'tank'"),
        (
            SMALL + '[[place]]\nname = "a"\nchannel = 1\nrole = "pump"\n[[place]]\nname = "b"\nchannel = 1\nrole = "line"\n',
            "channel 1",
            "its own",
        ),
        (
            SMALL + '[[place]]\nname = "a"\nchannel = 1\nrole = "pump"\n[[place]]\nname = "a"\nchannel = 2\nrole = "line"\n',
            "name a",
            "its own",
        ),
        ("place = []\n" + SMALL, "0 places", "1 to 8"),
        (SMALL + '[engine]\nidle_flow = "9 L/h"\nfull_flow = "3 L/h"\n', "engine", "below idle_flow"),
        (SMALL + '[sensors]\nfuel_pressure_zero = "90 %"\n', "sensors", "not above"),
        (SMALL + "[pump\n", "car file is not TOML", "line 3"),
        (SMALL + SMALL, "car file is not TOML", "fuel"),
        ("a = " + "[" * 5000 + "\n", "car file is not TOML", ""),
    ],
)
def test_a_mistake_is_one_sentence_with_key_value_seen_and_values_allowed(text, key, said):
    message = refused(text)
    assert key in message
    assert said in message
    assert "\n" not in message


def test_two_mistakes_are_two_sentences():
    assert len(refused('[fuel]\nclass = "D4814 A-1"\n[pump]\nkind = "hand"\n[engine]\nidle = "800 rpm"\n').splitlines()) == 2


def test_a_fuel_outside_the_range_is_refused_when_it_is_used():
    with pytest.raises(InputError, match="not covered"):
        car.load(SMALL + 'methanol = "15 %"\n').fuel()
    with pytest.raises(InputError, match=r"T50|t50|50"):
        car.load('[fuel]\nvapour_pressure = "60 kPa"\nt10 = "90 degC"\nt50 = "60 degC"\n').fuel()


def test_files(tmp_path):
    path = tmp_path / "mine.toml"
    path.write_text(SMALL)
    assert car.load(path) == car.load(str(path)) == car.load(SMALL)
    assert "mine2.toml cannot be read" in refused(str(tmp_path / "mine2.toml"))
    path.write_bytes(b"\xff\xfe[fuel]\n")
    assert "not UTF-8" in refused(path)
    path.write_bytes(b"#" * ((1 << 20) + 1))
    assert "not a car file" in refused(path)
    assert "cannot be read" in refused(tmp_path)
    assert "cannot be read" in refused("nul\0byte")


def test_a_place_is_found_by_name():
    assert car.load(SMALL).place("pump").channel == 1
    with pytest.raises(InputError, match="tank, pump, carb_inlet"):
        car.load(SMALL).place("carb")


@given(st.text(alphabet=string.printable, max_size=300))
def test_any_text_is_a_car_or_an_input_error(text):
    try:
        car.load(text + "\n")
    except InputError:
        pass
    else:
        assert "fuel" in text


@given(st.integers(0, len(car.EXAMPLE) - 1), st.sampled_from(["", "\0", '"', "[", "=", "é", "9", "\n"]))
def test_a_damaged_example_is_a_car_or_an_input_error(at, put):
    text = car.EXAMPLE[:at] + put + car.EXAMPLE[at + 1 :]
    with contextlib.suppress(InputError):
        assert car.load(text).places


def test_every_role_of_a_car_file_has_its_row_and_every_place_with_a_limit_has_a_role():
    made = {"needle", "injected_line"}  # by a car's other places: never in a car file
    assert {*get_args(places.RoleName), *made} == set(places.ROLES)
    # eight channels: the roles after the eighth have no limit either
    first = get_args(places.RoleName)[:8]
    assert {role for role in places.ROLES if places.ROLES[role].has_limit} <= {*first, *made}
    text = "".join(f'[[place]]\nname = "{role}"\nchannel = {i}\nrole = "{role}"\n' for i, role in enumerate(first))
    found = car.load(SMALL + text).limit_places
    assert list(found) == ["tank", "suction", "pump", "line", "carburettor", "carburettor_needle", "injector", "bowl"]
    assert [name for name, (_, role) in found.items() if role.percolates] == ["line", "carburettor_needle", "injector", "bowl"]
    without = car.load(SMALL + text.replace('role = "injector"', 'role = "other"')).limit_places
    assert [name for name, (_, role) in without.items() if role.percolates] == ["carburettor_needle", "bowl"]
    assert found["carburettor_needle"][0].name == "carburettor"


def test_outside_air_is_a_role_of_its_own():
    """Older files have "air" there and the position in the place's name."""
    rows = (
        ("outside", "air"),
        ("box", "outside_air"),
        ("bonnet", "air"),
        ("cooler_out", "air"),
        ("outlet", "air"),
        ("air_outdoors", "air"),
    )
    text = "".join(f'[[place]]\nname = "{name}"\nchannel = {i}\nrole = "{role}"\n' for i, (name, role) in enumerate(rows))
    assert [(place.kind.air, place.kind.outside) for place in car.load(SMALL + text).places] == [
        (True, True),
        (True, True),
        (True, False),
        (True, False),
        (True, False),
        (True, True),
    ]


def test_an_old_car_file_with_a_bowl_volume_is_still_read():
    assert car.load(SMALL + '[carburettor]\nbowl_volume = "0.25 L"\nboost = "6 psi"\n').carburettor.boost_kpa == pytest.approx(
        41.37, abs=0.01
    )


@given(st.from_regex(car.PLACE_NAME, fullmatch=True).filter(lambda name: not name.endswith(("_needle", "_"))), st.booleans())
def test_a_places_name_is_recovered_from_its_words(name, needle):
    full = places.behind_needle(name) if needle else name
    assert places.place_from_words(places.place_words(full)) == full
    assert places.probe_of(full) == name and places.is_behind_needle(full) == needle


@pytest.mark.parametrize(
    ("pressure", "role", "taken"),
    [
        ("5.5 bar", "carburettor", False),
        ("5.5 psi", "carburettor", True),
        ("25 psi", "carburettor", True),
        ("3 bar", "injector", True),
    ],
)
def test_a_pressure_that_no_needle_holds_is_refused(pressure, role, taken):
    """5.5 bar for 5.5 psi was taken, and the fuel said to be beyond its limit at any temperature."""
    text = f'{SMALL}[pump]\npressure = "{pressure}"\n[[place]]\nname = "inlet"\nchannel = 0\nrole = "{role}"\n'
    if taken:
        assert car.load(text).pump.pressure_kpa > 0
    else:
        with pytest.raises(InputError, match=r"pressure is 550\.0 kPa: a carburettor's needle holds 4 to 7 psi"):
            car.load(text)
