"""Sessions and pulls of the same variants in one command: degrees, margin, power, and the gain that physics allows."""

import numpy as np
import pytest
from hotfuel import car as car_file
from hotfuel.session import open as open_session
from hotfuel.study.fixes.fuel_in_pulls import fuel_in_pulls
from written import write

PLACES = ("tank", "pump", "carb_inlet")
RPM = np.arange(2500, 6001, 50.0)


def session(folder, seed, carb_degc, places=PLACES):
    """Ten minutes at idle with three sweeps of ten seconds from 2000 to 6000 rpm, with fuel at carb_degc at the carburettor."""
    random = np.random.default_rng(seed)
    time_s = np.arange(0.5, 600, 0.5)
    rpm = np.full_like(time_s, 800.0)
    for start in (180, 320, 460):
        within = (time_s >= start) & (time_s < start + 10)
        rpm[within] = 2000 + 400 * (time_s[within] - start)
    day = random.normal(0, 0.4)
    degc = np.column_stack(
        [np.full_like(time_s, 30 + day), np.full_like(time_s, 34 + day), np.full_like(time_s, carb_degc + day)]
    )
    return write(
        folder, car_file.EXAMPLE, places, degc + random.normal(0, 0.05, degc.shape), rpm, wall_s=1_780_000_000 + 7200 * seed, boot=seed,
        about={"ambient_degc": 27.0},
    )  # fmt: skip


@pytest.fixture(scope="module")
def day(tmp_path_factory):
    """Six runs, "before" and "cooler" in turn; fuel at 48 and 24 degC, 5 % more power: more than physics allows."""
    root = tmp_path_factory.mktemp("day")
    random = np.random.default_rng(4)
    sides = {"before": [], "cooler": []}
    for n, side in enumerate(["before", "cooler", "cooler", "before", "before", "cooler"], start=1):
        path = session(root / f"drive{n}", n, 24.0 if side == "cooler" else 48.0)
        nm = (390 - 90 * ((RPM - 4000) / 1900) ** 2) * (1 + (5 * (side == "cooler") + random.normal(0, 0.2)) / 100)
        pull = root / f"run{n}.csv"
        pull.write_text(
            "RPM,Torque (Nm)\n" + "\n".join(f"{r:.0f},{t:.3f}" for r, t in zip(RPM, nm, strict=True)), encoding="utf-8"
        )
        sides[side] += [str(path), str(pull)]
    return root, [f"{name}={','.join(paths)}" for name, paths in sides.items()]


def test_degrees_margin_power_and_the_share_due_to_fuel(hotfuel, day):
    root, arguments = day
    result = hotfuel("power", *arguments, "--out", root / "both.html", as_json=True)
    (gain,) = result["power"]["gains"]
    assert gain["verdict"] == "higher"
    before, cooler = result["power"]["said"]
    assert before["fuel_degc"] == pytest.approx(48, abs=1)
    assert cooler["fuel_degc"] == pytest.approx(24, abs=1)
    # the limit is the same, the fuel 24 degC cooler
    assert cooler["margin_degc"] - before["margin_degc"] == pytest.approx(24, abs=1.5)
    share = gain["allowed"]
    assert share["fuel_cooler_degc"] == pytest.approx(24, abs=1)
    assert 1.5 < share["fuel_half_degc"] < 5
    low, high = share["allowed_percent"]
    assert 0 < low < 1 < high < 4
    assert gain["implausible"]
    assert gain["gain_per_degc"] is None
    assert share["beyond_percent"] == pytest.approx(gain["low_percent"] - high)
    assert result["temperature"]["answers"]
    said = hotfuel("power", *arguments)
    assert said.splitlines()[0].startswith("cooler makes more power than before: +")
    assert "is beyond what fuel of that temperature can do" in said.splitlines()[0]
    assert "No gain per degree is given" in said
    assert "% per °" not in said
    assert said.splitlines()[1] == result["temperature"]["finding"]
    page = (root / "both.html").read_text(encoding="utf-8")
    assert result["temperature"]["finding"].split(".")[0] in page
    assert "Power: cooler against before" in page


def test_a_run_with_swapped_probes_does_not_change_the_fuels_temperature(day, tmp_path):
    """The tank's 30 degC were read at the inlet: included, the mean would be 43.5."""
    _, arguments = day
    paths = {name: [p for p in rest.split(",") if "drive" in p] for name, _, rest in (text.partition("=") for text in arguments)}
    groups = {name: [open_session(path) for path in each] for name, each in paths.items()}
    sound = fuel_in_pulls(groups)["before"]
    groups["before"].append(open_session(session(tmp_path / "swapped", 9, 48.0, PLACES[::-1])))
    assert fuel_in_pulls(groups)["before"] == sound
    assert (sound.sessions, sound.count, sound.phase) == (3, 9, "full-throttle pull")


def test_sessions_for_one_side_only_are_refused(hotfuel, day):
    _, arguments = day
    name, _, paths = arguments[1].partition("=")
    pulls_only = f"{name}={','.join(path for path in paths.split(',') if path.endswith('.csv'))}"
    assert "cooler has pulls and no session" in hotfuel("power", arguments[0], pulls_only, code=2)
