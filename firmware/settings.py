"""The board's settings: tables of allowed values; text in, text out.

A change is text, one `name=value` a line; either all lines are applied or none.
"""

from hotfuel_wire.amplifiers import ROWS as CHIP_ROWS
from hotfuel_wire.messages import CHANNELS_MAX, FITTED
from hotfuel_wire.more import INPUTS as _MORE

_AMPLIFIERS = tuple(CHIP_ROWS)
_INPUTS = tuple([name for name in FITTED if name != "engine_pulses_irq"])

# name -> (default, kind, what is allowed)
ROWS = {  # type: dict
    "rate_hz": (5, "number", (1, 2, 5, 10)),
    "mode": ("one_shot", "word", ("one_shot", "automatic")),
    "mains_hz": (60, "number", (50, 60)),
    "averages": (1, "number", (1, 2, 4, 8, 16)),
    "gain": (32, "number", (8, 32)),
    "resolution_bits": (18, "number", (12, 14, 16, 18)),  # MCP960x
    "places": (("tank", "pump", "carb_inlet"), "names", 12),
    "chips": (("MAX31856",) * 3, "words", _AMPLIFIERS),
    "i2c_addresses": (("96", "97", "98"), "words", ("0", "96", "97", "98", "99", "100", "101", "102", "103")),
    "inputs": ((), "words", _INPUTS),  # what is wired: a board cannot tell an input that is off from a missing one
    # 0: from a version whose default was all of them; the user is asked once
    "inputs_confirmed": (
        1,
        "number",
        (0, 1),
    ),
    "more_inputs": ((), "words", tuple(_MORE)),  # likewise: only inputs named here are read
    "converter_address": (72, "number", (72, 73, 74, 75)),  # ADS1115: ADDR to ground, supply, SDA, SCL
    "receiver_baud": (9600, "number", (4800, 9600, 19200, 38400, 57600, 115200)),
    "barometer": ("auto", "word", ("auto", "BMP280", "BMP390")),
    "stored_rate_hz": (2, "number", (1, 2, 5, 10)),  # with a receiver 2 means 1, to leave room for positions
    "after_key_off_min": (60, "range", (0, 1440)),
    "low_voltage_mv": (11800, "range", (0, 15000)),  # 0: no cut-off
    "buzzer": (0, "number", (0, 1)),
    "units": ("si", "word", ("si", "us")),  # of the margin shown in blinks
}


class SettingsError(ValueError):
    """A setting cannot be used. The message says what was seen and what is allowed."""


def defaults():
    """A dict of all settings with their defaults."""
    return {name: row[0] for name, row in ROWS.items()}


def parse(name, text):
    """The value of setting `name` from its text. Raises SettingsError."""
    if name not in ROWS:
        raise SettingsError("no setting %s; there are %s" % (name[:20], ", ".join(sorted(ROWS))))
    _, kind, allowed = ROWS[name]
    if kind in ("number", "range"):
        # int() alone would also take signs, blanks and underscores
        value = int(text) if 0 < len(text) < 7 and all(["0" <= digit <= "9" for digit in text]) else None
        if kind == "range" and value is not None and allowed[0] <= value <= allowed[1]:
            return value
        if kind == "number" and value in allowed:
            return value
        bounds = "%d to %d" % allowed if kind == "range" else ", ".join([str(number) for number in allowed])
        raise SettingsError("%s is %s; allowed: %s" % (name, text[:20], bounds))
    words = text.split(",") if text else []
    if kind == "word":
        words = [text]
    for word in words:
        if kind == "names":
            if not 0 < len(word) <= allowed or not all(["!" <= letter <= "~" for letter in word]):
                raise SettingsError("%s: %s; allowed: 1 to %d ASCII letters each" % (name, word[:20], allowed))
        elif word not in allowed:
            raise SettingsError("%s: %s; allowed: %s" % (name, word[:20], ", ".join(allowed)))
    return text if kind == "word" else tuple(words)


def show(name, value):
    """The text of a value; parse(name, show(name, value)) == value."""
    return "%s=%s" % (name, ",".join(value) if isinstance(value, tuple) else value)


def check(settings):
    """Raise SettingsError if settings contradict each other."""
    count = len(settings["chips"])
    if not 1 <= count <= CHANNELS_MAX:
        raise SettingsError("%d chips; allowed: 1 to %d" % (count, CHANNELS_MAX))
    for name in ("places", "i2c_addresses"):
        if len(settings[name]) != count:
            raise SettingsError("%d %s for %d chips; set them together" % (len(settings[name]), name, count))
    if len(set(settings["places"])) != count:
        raise SettingsError("places: one stands twice; each needs its own name")
    if len(set(settings["more_inputs"])) != len(settings["more_inputs"]):
        raise SettingsError("more_inputs: one stands twice; each is there once")
    addresses = []
    for chip, address in zip(settings["chips"], settings["i2c_addresses"]):
        row = CHIP_ROWS[chip]
        if row["bus"] == "i2c":
            if address == "0" or address in addresses:
                raise SettingsError("i2c_addresses: %s for a %s; each needs its own, 96 to 103" % (address, chip))
            addresses.append(address)
        rate_hz = settings["rate_hz"]
        if rate_hz > row["fastest_hz"]:
            raise SettingsError("rate_hz is %d; the %s allows at most %d" % (rate_hz, chip, row["fastest_hz"]))
        if "most_averages" in row:
            mode, mains_hz = settings["mode"], settings["mains_hz"]
            most = row["most_averages"][(mode, mains_hz)]
            if rate_hz not in most:
                rates = ", ".join([str(rate) for rate in sorted(most)])
                raise SettingsError("rate_hz is %d; with mode=%s and mains_hz=%d allowed: %s" % (rate_hz, mode, mains_hz, rates))
            if settings["averages"] > most[rate_hz]:
                raise SettingsError(
                    "averages is %d; with mode=%s, mains_hz=%d and rate_hz=%d allowed: at most %d"
                    % (settings["averages"], mode, mains_hz, rate_hz, most[rate_hz])
                )


def changed(settings, text):
    """A new dict with the lines of `text` applied. Raises SettingsError; does not change `settings`."""
    new = dict(settings)
    for line in text.split("\n"):
        name, equals, value = line.partition("=")
        if not equals:
            raise SettingsError("%s is not name=value" % line[:30])
        new[name] = parse(name, value)
        if name == "inputs":
            new["inputs_confirmed"] = 1
    check(new)
    return new


def load(twin, booted_before=False):
    """(settings, reason): the file's values over the defaults; for a file that cannot be used, the defaults and the reason.

    Up to version 0.1 the default was all inputs, and defaults were not stored: a board that has booted before and whose file names no inputs keeps them
    all, and its file is rewritten.
    """
    content = twin.load()
    if content is None and twin.spoiled():
        return defaults(), "both copies are damaged; set places, chips and inputs anew"
    if content is None and not booted_before:
        return _written(twin, defaults()), ""
    try:
        settings = changed(defaults(), content.decode()) if content else defaults()
        if not content or b"inputs=" not in content:
            settings.update({"inputs": _INPUTS, "inputs_confirmed": 0})
            _written(twin, settings)
        return settings, ""
    except (SettingsError, UnicodeError) as error:
        return defaults(), str(error)


def _written(twin, settings):
    try:
        save(twin, settings)
    except OSError:  # tried again at the next boot
        pass
    return settings


def save(twin, settings):
    """Write all settings that differ from the defaults, and always the inputs. Raises OSError and then keeps the old file."""
    twin.save(
        "\n".join(
            [show(name, settings[name]) for name in sorted(ROWS) if name == "inputs" or settings[name] != ROWS[name][0]]
        ).encode()
    )
