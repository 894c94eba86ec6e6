"""The page in a real browser, fed by the simulated board through its port and the real recorder: what a crew must see, and must not see."""

import math
import re
import sys
import time
from pathlib import Path

import pytest
from hotfuel import car as car_file
from hotfuel.risk.margin import Channel, temperature_uncertainty_degc
from hotfuel.samples import decode
from hotfuel.session import folder as session_folder
from hotfuel.simulator.car_model import CarModel
from hotfuel.simulator.scenarios import scenarios
from hotfuel_wire import codec, framing

sys.path.insert(0, str(Path(__file__).parent))
sys.path.insert(0, str(Path(__file__).parents[1] / "host" / "live"))
import live_rig as rig
from serving import Served

if rig.missing():
    pytest.skip(rig.missing(), allow_module_level=True)
from watched import LAPTOP, PHONE, SENT, STAMPS, Watched

QUEUE_S = 1000.0  # part of the summer drive: waiting in a queue, engine idling, close to the limit
CAR = car_file.load(car_file.EXAMPLE)


@pytest.fixture(scope="module")
def model():
    made = CarModel(scenarios()["summer drive"])
    assert len(made.truth)
    return made


@pytest.fixture(scope="module")
def drive(model, tmp_path_factory):
    with rig.Drive(tmp_path_factory.mktemp("live") / "drive", model, QUEUE_S) as made:
        yield made


@pytest.fixture(scope="module")
def server(drive):
    started = Served(drive.folder, units="si")
    yield started
    started.close()


@pytest.fixture(scope="module")
def watched(chromium, server):
    """One page for all tests that look at this drive."""
    made = Watched(chromium, server.url)
    yield made
    made.context.close()


@pytest.fixture
def seen(watched):
    watched.page.set_viewport_size({"width": LAPTOP[0], "height": LAPTOP[1]})
    return watched


def test_numbers_are_the_models_within_the_probes_error(seen, drive):
    seen.until("!document.body.classList.contains('old')")
    probes = {fitted.where: fitted for fitted in drive.model.scenario.probes}
    for place in CAR.places:
        shown_degc = seen.number(place.name)
        uncertainty_degc = float(temperature_uncertainty_degc(CAR, place, CAR.engine.idle_flow_l_h, Channel()))
        assert uncertainty_degc < 5
        assert abs(shown_degc - drive.truth(f"{place.name}_degc")) < 2 * uncertainty_degc
        # the junction itself is known better: its wire's error, the amplifier's cold junction (0.7 degC, datasheet 19-7534, from
        # memory), noise and rounding
        junction_degc = drive.truth(f"{place.name}_probe_degc")
        assert abs(shown_degc - junction_degc) < abs(probes[place.name].error_degc) + 0.7 + 0.2 + 0.7  # shown to a whole degree


def test_order_on_the_page_worst_place_then_other_places_then_the_rest(seen):
    seen.page.set_viewport_size({"width": PHONE[0], "height": PHONE[1]})
    order = ("#head-word", "#head-margin", "#head-range", "#head-action", "#places", "#marking", "#health")
    tops = [seen.page.locator(selector).bounding_box()["y"] for selector in order]
    assert tops == sorted(tops)
    first = seen.page.locator(".place").first
    assert seen.text("#head-place") == first.locator(".name").inner_text()
    assert first.locator(".margin").inner_text().startswith(seen.text("#head-margin") + " °C")
    assert seen.text("#head-word").removesuffix(":") == first.locator(".word").text_content()
    assert re.fullmatch(r"range −?\d+ to \d+", seen.text("#head-range"))


def test_no_network_requests_and_no_console_errors(seen, server):
    at = seen.text("#time")
    seen.until(f"document.querySelector('#time').textContent !== '{at}'")
    assert {
        re.match(r"\w+://[^/]+", url).group().replace("ws:", "http:")
        for url in seen.asked
        if not url.startswith(("data:", "blob:"))
    } == {server.url.rstrip("/")}
    assert seen.complaints == []
    # when a busy machine keeps the server silent for long, the page reconnects, but still one connection at a time
    assert sum(not socket.is_closed() for socket in seen.sockets) == 1
    assert {socket.url.rsplit("/", 1)[1] for socket in seen.sockets} == {"live"}


def test_a_mark_lands_in_the_log_as_it_was_typed(seen, drive):
    hostile = "<img src=x onerror=\"document.title='in'\">"
    for text in ("stumbled at the lights", hostile):
        seen.page.fill("#mark-text", text)
        seen.page.click("#mark")
        seen.page.wait_for_function("text => document.querySelector('#marks').innerText.includes(text)", arg=text)
    marks = [bytes(row["text"]).decode() for row in decode(drive.folder / "wire.log").messages["mark"]]
    assert marks[-2:] == ["stumbled at the lights", hostile]
    seen.until("document.querySelectorAll('#waiting li').length === 0")  # the server confirmed that the log has them
    assert seen.page.evaluate("document.querySelectorAll('img').length") == 0
    assert seen.page.title() != "in"


def test_ending_asks_first(seen):
    said = seen.text("#answer")
    seen.answer_whether_to_end("#end-no")
    assert not seen.page.is_visible("#sure")
    assert seen.text("#answer") == said  # the recorder received no request
    assert seen.page.is_enabled("#end")


def test_a_browser_that_sends_junk_has_no_effect(seen, drive, server):
    before = (drive.folder / "requests.jsonl").read_text() if (drive.folder / "requests.jsonl").exists() else ""
    seen.page.evaluate(
        """url => new Promise(done => {
             const socket = new WebSocket(url);
             socket.onopen = () => {
               for (const ask of ['{', '[1]', JSON.stringify({kind: 'erase', id: '1'}), 'x'.repeat(20000)]) socket.send(JSON.stringify({ask}));
               for (const junk of ['', '[', '7', 'null', '{"taken": "<b>"}', '{"units": {}}', '{"charts": [1]}']) socket.send(junk);
               socket.onclose = () => done();  // behind all of that
               socket.close();
             };
           })""",
        server.url.replace("http", "ws") + "live",
    )
    sequence = "Number(document.querySelector('#time').textContent.replaceAll(':', ''))"
    at = seen.page.evaluate(sequence)
    seen.until(f"{sequence} !== {at} && !document.body.classList.contains('old')")
    after = (drive.folder / "requests.jsonl").read_text() if (drive.folder / "requests.jsonl").exists() else ""
    assert after == before


HEARD = """() => {
  const hear = Marks.hear;
  Marks.hear = (time, age_s) => { window.heard = { time, age_s, at_ms: Date.now() }; hear(time, age_s); };
}"""


def test_without_readings_every_value_is_marked_old_at_once_and_they_come_back(seen, drive):
    seen.until("!document.body.classList.contains('old')")
    seen.page.evaluate(STAMPS)
    gaps = "Number(/(\\d+) gaps?,/.exec(document.querySelector('#health-rows').innerText)?.[1] ?? 0)"
    before = seen.page.evaluate(gaps)  # a busy machine may have lost readings
    drive.board.unplug()
    try:
        # and not a server that is slow
        named = "window.stamps.find(row => row[1] && row[2].startsWith('NOT CURRENT: last reading '))"
        seen.until(f"document.body.classList.contains('old') && {named}")
        stale, _, words, margin, reading = seen.page.evaluate(named)
        # by the page's own time stamps: its wall clock counts whole milliseconds, and its event loop may run late.
        # test_page_stale.py checks the same without the influence of a busy machine
        age_s = (stale - reading) / 1000
        assert 2.0 - 0.002 <= age_s <= 2.1 + seen.page.evaluate("window.late") / 1000
        assert int(re.match(r"NOT CURRENT: last reading (\d+) s ago", words).group(1)) in (math.floor(age_s), math.ceil(age_s))
        assert margin == "–"
        assert re.match(r"was \d+ °C (left|past), [a-z ]+, \d\d:\d\d:\d\d", seen.text("#head-was"))
        assert float(seen.page.evaluate("getComputedStyle(document.querySelector('#head-was')).opacity")) == 1
        shown = seen.page.evaluate(
            """() => [...document.querySelectorAll('.place .margin, .place .temperature, .place .limit, .place .range, .place .trend, .place .eta,'
                 + '.place .history, #head-range, #head-eta, #health-rows dd')].map(e => e.textContent).filter(text => /\\d/.test(text))"""
        )
        assert shown == []
        assert seen.page.evaluate("document.querySelector('#forecast').hidden && document.querySelector('#restart').hidden")
        assert seen.text("#alert-check").startswith(
            "The simulated board is silent: its drive is over, unless a fault was asked for"
        )
        assert seen.text("#link") == "not current"
        assert seen.page.is_enabled("#mark")
    finally:
        drive.board.plug()
    seen.until("!document.body.classList.contains('old')")
    assert not seen.page.is_visible("#alert")
    assert seen.text("#link") == "receiving"
    seen.until(f"{gaps} > {before} && document.querySelector('#health-rows').innerText.includes(', last: port gone')")


def test_a_killed_server_leaves_no_value_that_looks_live_and_a_restarted_one_is_found(chromium, drive):
    killed = Served(drive.folder, units="us")
    zone = "Asia/Tokyo" if time.localtime().tm_gmtoff != 9 * 3600 else "UTC"
    made = Watched(chromium, killed.url, PHONE, timezone_id=zone)
    try:
        made.until("!document.body.classList.contains('old')")
        made.page.add_init_script(SENT)  # of the page that is reloaded
        made.page.evaluate(STAMPS)
        made.page.evaluate(HEARD)
        made.until("window.heard?.age_s != null")
        killed.kill()
        made.until(
            "document.body.classList.contains('old') && document.querySelector('#alert-words').textContent.startsWith('NOT CURRENT: ')"
        )
        # the server may fall behind on a busy machine before it is killed: whatever the page says about that, no value looks live
        assert set(made.page.evaluate("window.stamps.filter(row => row[1]).map(row => row[3])")) == {"–"}
        made.until(
            "document.querySelector('#alert-words').textContent.startsWith('NOT CURRENT: no word from the recording computer for ')"
        )
        assert made.text("#head-margin") == "–"
        made.page.click("[data-mark='died']")
        assert "died: waiting" in made.text("#waiting")
        hours, minutes, seconds = map(int, re.match(r"(\d\d):(\d\d):(\d\d)\s+died", made.text("#waiting")).groups())
        touched = made.page.evaluate("JSON.parse(localStorage.getItem('hotfuel marks'))[0].wall / 1000")
        # the time of day that the server sent last, and what has passed since on this page's clock
        heard = made.page.evaluate("window.heard")
        sent_h, sent_min, sent_s = map(int, heard["time"].split(":"))
        since_s = heard["age_s"] + touched - heard["at_ms"] / 1000
        apart_s = (3600 * (hours - sent_h) + 60 * (minutes - sent_min) + seconds - sent_s - since_s + 43200) % 86400 - 43200
        assert -1.05 <= apart_s <= 0.05  # whole seconds, rounded down; two clocks of one page
        # in the recording computer's zone, not the browser's; how late a busy server sends is not judged
        here = time.localtime(touched)
        apart_s = (3600 * (hours - here.tm_hour) + 60 * (minutes - here.tm_min) + seconds - here.tm_sec + 43200) % 86400 - 43200
        assert abs(apart_s) < 600
        assert made.page.evaluate("new Date().getTimezoneOffset()") != -time.localtime().tm_gmtoff // 60
        made.page.fill("#mark-text", "half a sen")
        again = Served(drive.folder, units="us", port=int(killed.url.rstrip("/").rsplit(":")[-1]))
        made.page.reload()  # the mark survives a reload
        made.until("!document.body.classList.contains('old')")
        assert made.page.input_value("#mark-text") == "half a sen"
        made.until("document.querySelectorAll('#waiting li').length === 0")
        row = decode(drive.folder / "wire.log").messages["mark"][-1]
        assert bytes(row["text"]).decode() == "died"
        answered, sent = made.page.evaluate("[Date.now() / 1000, window.sent / 1000]")
        # no later than the time to reach the server
        assert touched - 0.5 <= row["wall_us"] / 1e6 <= touched + 0.5 + (answered - sent)
        again.close()
    finally:
        made.context.close()
        killed.close()


def test_a_state_change_appears_and_an_ended_recording_is_no_longer_live(chromium, model, tmp_path):
    stop_s = float(model.truth["time_s"][(model.truth["phase"] == "hot soak").to_numpy()].iloc[0])
    # alarm and forecast come about 70 s after the stop; a page that is late must not find the stop over
    with rig.Drive(tmp_path / "soak", model, stop_s - 70, speed=20, unhurried_s=170) as drive:
        server = Served(drive.folder, units="us")
        made = Watched(chromium, server.url, PHONE)
        try:
            made.page.evaluate(
                """() => {
                     window.seen = [];
                     const look = () => {
                       const key = document.querySelector('[data-place=pump]').dataset.key;
                       if (window.seen.at(-1) !== key) window.seen.push(key);
                     };
                     setInterval(look, 50);
                   }"""
            )  # fmt: skip
            made.until("window.seen.at(-1) === 'act'", 120)
            states = made.page.evaluate("window.seen")
            assert states[-1] == "act"
            assert states.index("act") == len(states) - 1
            assert made.page.locator("#head").get_attribute("data-key") == "act"
            assert "Do not open cap" in made.text("#head-action")
            assert drive.truth("pump_degc") > (made_limit(made, "pump") - 32) / 1.8 - 2
            made.until("!document.querySelector('#forecast').hidden")
            assert made.text("#forecast-note").startswith("model only")
            made.answer_whether_to_end("#end-yes")
            made.until("document.body.classList.contains('ended')")
            assert made.text("#alert").startswith("This recording has ended, ")
            assert made.page.is_enabled("#mark")
            assert made.page.is_disabled("#end")
            assert made.text("#end-why") == "the recording has ended"
            drive._thread.join(rig.SLOWEST_S)
            assert not drive._thread.is_alive()
        finally:
            made.context.close()
            server.close()


def made_limit(made, place):
    """The limit a place shows, as soon as it shows one; checked and read in one evaluation, because the next panel may have none."""
    made.until(
        f"(window.shown = /limit ([\\d.]+)/.exec(document.querySelector('[data-place={place}] .limit').textContent)) !== null"
    )
    return float(made.page.evaluate("window.shown[1]"))


def test_opened_to_the_network_the_link_with_its_token_works_in_a_browser(chromium, drive):
    server = Served(drive.folder, address="0.0.0.0")
    port, token = re.fullmatch(r"http://[^/]+:(\d+)/(.+)", server.url).groups()
    made = Watched(chromium, f"http://127.0.0.1:{port}/{token}", PHONE)
    try:
        made.until("!document.body.classList.contains('old')")
        other = made.context.new_page()
        assert other.goto(f"http://127.0.0.1:{port}/").status == 403
        # a page of another site that knows the link still cannot connect: its origin differs
        assert other.evaluate(
            """url => new Promise(done => {
                 const socket = new WebSocket(url);
                 socket.onopen = () => done('open');
                 socket.onerror = () => done('refused');
               })""",
            f"ws://localhost:{port}/{token}/live",
        ) == "refused"  # fmt: skip
    finally:
        made.context.close()
        server.close()


def test_hostile_names_and_marks_in_a_log_run_nothing(chromium, tmp_path):
    header = {"tick": 1, "time_ms": 200}
    hostile = b"<script>1</script>"[:12]
    channel = {
        "place": hostile,
        "chip": 1,
        "thermocouple": ord("K"),
        "gain": 32,
        "mains_hz": 50,
        "averages": 1,
        "mode": 0,
        "resolution_bits": 19,
    }
    description = codec.pack(
        "description",
        header | {
            "protocol_version": 1, "firmware_major": 1, "firmware_minor": 0, "firmware_patch": 0, "board_id": bytes(8), "boot_count": 1,
            "reset_cause": 1, "period_ms": 200, "simulated": 0, "simulated_speed": 0, "channels": [channel],
        },
    )  # fmt: skip
    reading = codec.pack(
        "reading",
        header | {"description_id": codec.description_id(description), "channels": [{"hot": 6905, "cold": 8960, "status": 0}]},
    )
    mark = codec.pack("mark", header | {"wall_us": 10**15, "text": b"</script><script>document.title='in'</script>\x1b[2J"})
    car = car_file.EXAMPLE.replace("Blue saloon, road and sprint", "</style><script>document.title='in'</script>")
    for number in range(3):
        # so that the board's own name for the channel is shown
        car = car.replace(f"channel = {number}", f"channel = {number + 4}")
    path = session_folder.create(tmp_path / "hostile", car, {"title": "<script>document.title='in'</script>"}).path
    (path / "wire.log").write_bytes(b"".join(framing.encode(payload) for payload in (description, reading, mark)))
    server = Served(path)
    made = Watched(chromium, server.url)
    try:
        assert "</script><script>document.title='in'</script>" in made.text("#marks")
        assert "\x1b" not in made.text("#marks")
        assert made.text(".place .name") == hostile.decode()
        assert made.page.title() != "in"
        assert made.complaints == []
    finally:
        made.context.close()
        server.close()
