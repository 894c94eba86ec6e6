"""The fuel line as a user asks about it: hoses in the review, coolers and ice, on recordings of the simulated car, against its true values."""

import re
from dataclasses import replace

import numpy as np
import pytest
from hotfuel import car as car_file
from hotfuel.report.line_words import FLOW
from hotfuel.simulator.car_model import CarModel, scenarios
from hotfuel.simulator.drives import Phase
from hotfuel.simulator.plug_flow import J_PER_ML_K
from hotfuel.simulator.scenarios import EIGHT_PROBES, QUEUE, Body, Cooler, Fixes, IceCan
from written import write

ROLES = {"tank": "tank", "pump": "pump", "pump_outlet": "line", "carb_inlet": "carburettor", "bonnet": "air", "ambient": "air"}
PLACES = "".join(
    f'[[place]]\nname = "{name}"\nchannel = {number}\nrole = "{role}"\n' for number, (name, role) in enumerate(ROLES.items())
)
CAR = car_file.EXAMPLE[: car_file.EXAMPLE.index("[[place]]")].replace('units = "us"', 'units = "si"') + PLACES
FIRST = car_file.EXAMPLE.replace('units = "us"', 'units = "si"')
BARE = Body(hose_w_k=1e-6, exhaust_to_hose_w_k=0.0, hose_ml=2.0)  # the probe right after the cooler
# more than an hour at one flow
STEADY = (Phase("road", 70.0, "cruise", 64.0),)


def recorded(folder, scenario, car=CAR, places=tuple(ROLES)):
    """The scenario's session at 1 Hz, and its true values (1 Hz)."""
    truth = CarModel(replace(scenario, probes=EIGHT_PROBES)).truth.iloc[::4]
    degc = truth[[f"{place}_probe_degc" for place in places]].to_numpy()
    about = {"ambient_degc": scenario.ambient_degc}
    return write(folder, car, places, degc, truth.engine_rpm.to_numpy(), about=about, period_ms=1000), truth


@pytest.fixture(scope="module")
def root(tmp_path_factory):
    return tmp_path_factory.mktemp("line")


@pytest.fixture(scope="module")
def summer(root):
    return recorded(root / "summer", scenarios()["summer drive"])


@pytest.fixture(scope="module")
def cooled(root):
    return recorded(root / "cooled", replace(QUEUE, variation=0.0, body=BARE, fixes=Fixes(cooler=Cooler(fan=True))))


@pytest.fixture(scope="module")
def iced(root):
    return recorded(
        root / "iced", replace(QUEUE, drive=STEADY, variation=0.0, body=BARE, fixes=Fixes(ice=IceCan(ice_kg=3.0, ua_w_k=14.0)))
    )


def test_review_reports_the_hose(hotfuel, summer, tmp_path):
    session, truth = summer
    page = tmp_path / "review.html"
    result = hotfuel("review", session, "--out", page, as_json=True)
    assert [(s["before"], s["place"]) for s in result["sections"]] == [
        ("tank", "pump"), ("pump", "pump_outlet"), ("pump_outlet", "carb_inlet"),
    ]  # fmt: skip
    assert "sections" not in result["story"], "once only"
    section = result["sections"][-1]
    found = section["hose"]
    # the simulated car's hose: 80 mL, 0.73 W/K
    assert abs(found["volume_l"] - 0.080) < 2 * found["volume_u_l"]
    assert abs(found["ua_w_k"] - 0.73) < 2 * found["ua_u_w_k"]
    part = truth[(truth.time_s >= section["start_s"]) & (truth.time_s <= section["end_s"])]
    assert abs(found["heat_w"] - part.hose_heat_w.mean()) < 2 * found["heat_u_w"]
    assert abs(found["delay_s"] - 0.080 / part.flow_l_h.median() * 3600) < 2 * found["delay_u_s"]
    assert result["sections"][0]["hose"] is None
    text = page.read_text()
    assert "The line between places" in text
    assert "because cooler fuel arrived from the pump outlet" in text  # in the story, with its time
    said = hotfuel("review", session, "--out", page, "--units", "us")
    assert "carb inlet became cooler by" in said
    assert "°F" in said


def test_without_displacement_no_watts_are_given(hotfuel, root, summer, tmp_path):
    car = tmp_path / "car.toml"
    car.write_text(CAR.replace('displacement = "5.0 L"\n', ""))
    page = tmp_path / "review.html"
    result = hotfuel("review", summer[0], "--car", car, "--out", page, as_json=True)
    found = result["sections"][-1]["hose"]
    assert found["heat_w"] is None
    assert found["ua_w_k"] is None
    assert found["delay_s"] > 0
    assert "neither volume nor heat" in page.read_text()


def test_a_cooler_against_the_simulated_one(hotfuel, cooled):
    session, truth = cooled
    made = hotfuel(
        "cooler",
        session,
        "--before",
        "carb_inlet",
        "--coolant",
        "ambient",
        "--flow",
        "10.5 L/h",
        "--flow-within",
        "3 %",
        as_json=True,
    )
    found = made["cooler"]["cooler"]
    running = truth[(truth.engine_rpm > 400) & (truth.time_s > 120)]
    flow = running.flow_l_h.median()
    assert found["fuel_l_h"] == 10.5
    assert flow == pytest.approx(10.5, rel=0.1)
    # its core: 9 W/K in air that the car keeps 2 degC (moving) or 6 (standing) above ambient
    own = 1 - np.exp(-9.0 / (flow / 3.6 * J_PER_ML_K))
    assert abs(found["effectiveness"] - own) < 2 * found["effectiveness_u"]
    assert found["effectiveness_u"] < 0.15
    assert abs(found["ua_w_k"] - 9.0) < 2 * found["ua_u_w_k"]
    truth_w = flow / 3.6 * J_PER_ML_K * (running.pump_outlet_degc - running.carb_inlet_degc).median()
    assert abs(found["heat_w"] - truth_w) < 2 * found["heat_u_w"]
    assert found["heat_u_w"] < 0.3 * found["heat_w"]
    # flow from engine speed, outside air from the notes
    alone = hotfuel("cooler", session, "--before", "carb_inlet", as_json=True)["cooler"]
    assert alone["flow_relative_u"] == 0.35
    assert alone["coolant_degc"] == QUEUE.ambient_degc
    assert abs(alone["cooler"]["heat_w"] - truth_w) < 2 * alone["cooler"]["heat_u_w"]


def test_the_same_cooler_on_a_hotter_faster_day(hotfuel, cooled, root):
    arguments = ("cooler", cooled[0], "--before", "carb_inlet", "--coolant", "ambient", "--flow", "10.5 L/h")
    road = (Phase("road", 30.0, "cruise", 110.0),)
    hot = replace(QUEUE, drive=road, variation=0.0, ambient_degc=42.0, body=BARE, fixes=Fixes(cooler=Cooler(fan=True)))
    truth = CarModel(hot).truth
    late = truth[truth.time_s > 1200]
    flow, inlet, outlet = (float(late[name].median()) for name in ("flow_l_h", "pump_outlet_degc", "carb_inlet_degc"))
    assert flow > 15
    there = hotfuel(
        *arguments, "--at-flow", f"{flow:.2f} L/h", "--at-inlet", f"{inlet:.2f} degC", "--at-coolant", "44 degC", as_json=True
    )["elsewhere"]["cooled"]
    assert abs(there["outlet_degc"] - outlet) < 2 * there["outlet_u_degc"]
    assert there["outlet_u_degc"] < 0.4 * (inlet - 44)
    assert "0.4" in there["assumption"]
    said = hotfuel(*arguments, "--at-flow", "20 L/h", "--units", "us")
    assert "The same cooler at 5.3 gph" in said
    assert "°F" in said
    assert "°C" not in said


def test_ice_lasts_as_long_as_in_the_simulated_can_for_the_fuels_heat(hotfuel, iced):
    session, truth = iced
    found = hotfuel("cooler", session, "--before", "carb_inlet", "--flow", "12 L/h", "--ice", "3 kg", as_json=True)
    settled = truth[(truth.time_s > 120) & (truth.time_s < 1200)]
    heat_w = float((settled.flow_l_h / 3.6 * J_PER_ML_K * (settled.pump_outlet_degc - settled.carb_inlet_degc)).median())
    assert abs(found["ice"]["minutes"] - 3 * 333.55e3 / heat_w / 60) < 2 * found["ice"]["u_minutes"]
    assert found["ice"]["u_minutes"] < 0.3 * found["ice"]["minutes"]
    assert found["cooler"]["coolant_degc"] == 0
    # the simulated can's ice melts sooner, because its wall takes up heat too; the report says so
    leaving = truth.carb_inlet_degc.to_numpy()
    gone_s = truth.time_s.to_numpy()[np.flatnonzero(leaving > np.median(leaving[120:600]) + 3)[0]]
    assert gone_s / 60 < found["ice"]["minutes"]
    assert "makes it less" in found["ice"]["sentence"]


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--before", "tank"), "choose among pump"),
        (("--before", "carb_inlet", "--coolant", "25"), "has no unit"),
        (("--before", "carb_inlet", "--coolant", "roof"), 'no temperature of "roof"'),
        (("--before", "carb_inlet", "--coolant", "60 degC"), "at least 3 °C"),
        (("--before", "carb_inlet", "--flow", "0 L/h"), "0 s of settled running"),
        (("--before", "carb_inlet", "--flow", "fast"), "not a volume flow"),
        (("--before", "carb_inlet", "--ice", "0 kg"), "above 0"),
        (("--before", "carb_inlet", "--coolant-capacity", "20 W/K", "--arrangement", "sideways"), "choose counterflow"),
        (("--before", "pump", "--coolant", "20 degC"), "no cooler than"),
    ],
)
def test_bad_input_is_one_sentence(hotfuel, cooled, options, words):
    said = hotfuel("cooler", cooled[0], *options, code=1).strip()
    assert words in said
    assert said.count("\n") == 0


def test_a_coolers_sheet_for_the_customer(hotfuel, cooled, tmp_path):
    place = tmp_path / "cooler.html"
    arguments = ("cooler", cooled[0], "--before", "carb inlet", "--flow", "10.5 L/h", "--flow-within", "3 %")
    found = hotfuel(*arguments, "--out", place, as_json=True)
    assert found["report"] == str(place)
    page = place.read_text()
    sheet = re.sub(r"<(script|style|svg).*?</\1>|<[^>]+>", " ", page[: page.index('id="technical"')], flags=re.S)
    sheet = re.sub(r"\s+", " ", sheet)
    half = 1.96 * found["cooler"]["cooler"]["effectiveness_u"]
    told = re.search(r"Its effectiveness is ([\d.]+) ±([\d.]+)", sheet)
    assert float(told[1]) == pytest.approx(found["cooler"]["cooler"]["effectiveness"], abs=0.06)
    assert float(told[2]) == pytest.approx(half, abs=0.05)  # 95 %, as it is printed
    drop = re.search(r"cooled the fuel by (\d+)(?:\.\d)? °C, ±(\d+)", sheet.replace("\u00a0", " "))
    assert float(drop[1]) == pytest.approx(found["cooler"]["inlet_degc"] - found["cooler"]["outlet_degc"], abs=1)
    for words in ("What to do next", "Conditions", "Outside air", "Fuel before", "UA", "extinguisher", "Measured by"):
        assert words.casefold() in sheet.casefold(), words
    assert "carb_inlet" not in sheet
    assert "--" not in sheet, "no command line on a customer's sheet"
    assert page.count('class="line"') == 2  # before the cooler and after it


def test_a_coolers_refusal_is_in_the_readers_units_and_words(hotfuel, cooled):
    said = hotfuel("cooler", cooled[0], "--before", "pump", "--coolant", "20 degC", "--units", "us", code=1)
    assert re.search(r"fuel came to the pump at [\d.]+ °F, no cooler than the [\d.]+ °F of the tank", said)
    said = hotfuel("cooler", cooled[0], "--before", "carb_inlet", "--coolant", "60 degC", "--units", "us", code=1)
    assert "below the coolant: at least 5 °F above it" in said


def test_a_forecast_for_sharing_has_no_names(hotfuel, cooled, tmp_path, monkeypatch):
    monkeypatch.setenv("HOTFUEL_BROWSER", "nothing-of-that-name")
    said = hotfuel("forecast", cooled[0], "--hotter", "5 degC", "--without-names", "--png", tmp_path / "hotter.png", code=1)
    assert "a day 5 °C hotter" in said, "the answer is printed, though there is nothing to draw it with"
    assert str(tmp_path / "hotter.html") in said
    assert car_file.load(CAR).name not in (tmp_path / "hotter.html").read_text()


def values(plain, key):
    """Every value of a key in a JSON object, however deep."""
    inner = plain.values() if isinstance(plain, dict) else plain if isinstance(plain, list) else ()
    return [*([plain[key]] if isinstance(plain, dict) and key in plain else []), *(v for one in inner for v in values(one, key))]


def test_json_has_words_for_what_carries_a_range_and_where_the_flow_comes_from(hotfuel, cooled, tmp_path):
    folder = cooled[0]
    review = hotfuel("review", folder, "--out", tmp_path / "review.html", as_json=True)
    carried = values(review["story"]["heat"], "carried_by")
    assert "what the probe at the pump outlet is wrong by" in carried
    bases = [
        *values(review, "flow_basis"),
        *values(hotfuel("cooler", folder, "--before", "carb_inlet", as_json=True), "flow_basis"),
    ]
    assert len(bases) > 3 and set(bases) <= set(FLOW.values()) and set(bases) != {"unknown"}
    fitted = hotfuel("forecast", folder, "--insulation", "carb_inlet=0.4", "--hotter", "5 degC", as_json=True)
    first = hotfuel("forecast", folder, as_json=True)["try_first"]
    for forecast in (fitted, first):
        assert any(values(forecast, "carried_by"))
        carried += values(forecast, "carried_by")
    assert all(isinstance(text, str) and "{" not in text for text in carried)
