"""The board's limit tables: the margins of hotfuel.risk.margin as integers, so that the board needs no polynomial and no fuel data.

Layout and reading of the tables: hotfuel_wire.limit_tables. Against the exact path they are within 0.5 degC over -20 to 85 degC cold junction
and 26 to 200 kPa for every supported chip (tests/host/risk/test_board_limits.py).
"""

import datetime
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from hotfuel_wire import limit_packing
from hotfuel_wire import limit_tables as wire
from hotfuel_wire.messages import CHIPS

from hotfuel.car import Car, Place
from hotfuel.errors import InputError
from hotfuel.fuel import Fuel
from hotfuel.fuel.table import PRESSURE_RANGE_KPA
from hotfuel.places import ROLES, Role, behind_needle, probe_of
from hotfuel.risk.criterion import criterion
from hotfuel.risk.margin import Channel, margins
from hotfuel.risk.pressure import Conditions, ambient, at_places
from hotfuel.temperature.calibration import Calibration, ChannelCalibration
from hotfuel.temperature.counts import loop_emf_mv, scale
from hotfuel.temperature.thermocouple import emf_mv, seebeck_mv_per_degc

_COLD_NODES_DEGC = np.linspace(-40.0, 125.0, 12)
_PRESSURE_NODES_KPA = np.geomspace(*PRESSURE_RANGE_KPA, 20)
_COUNT_MV = 0.00025  # a count is at most this, so that rounding adds no more than 0.006 degC
_UNIT_KPA = wire.PRESSURE_UNIT_PA / 1000


@dataclass(frozen=True)
class ChannelSetting:
    """One channel's settings, from the board description."""

    chip: int
    gain: int
    resolution_bits: int


@dataclass(frozen=True)
class BoardTables:
    """A complete set: `head` first, then `pieces`, each small enough for one command; `notes` for the person who sends them."""

    head: bytes
    pieces: tuple[bytes, ...]
    notes: tuple[str, ...]


def settings_of(description: Mapping[str, Any]) -> dict[int, ChannelSetting]:
    """Channel number -> setting, from a board description as hotfuel_wire.codec.unpack gives it."""
    channels = enumerate(description["channels"])
    return {number: ChannelSetting(row["chip"], row["gain"], row["resolution_bits"]) for number, row in channels}


def board_tables(
    car: Car,
    fuel: Fuel,
    settings: Mapping[int, ChannelSetting],
    made: datetime.datetime,
    calibration: Calibration | None = None,
) -> BoardTables:
    """All tables for a car and a fuel. settings: channel number -> ChannelSetting; made: the time, shown later as the limits' age.

    calibration: of this board. The board does not correct readings: its limits are shifted to what the probe reads there, with the calibration's
    uncertainty. Raises InputError for a place whose channel the board does not have, or an unknown chip or gain.
    """
    air = ambient(car)
    pieces: list[bytes] = []
    notes = [air.question] if air.question else []
    for place in car.places:
        if not place.kind.has_limit or place.probe.mount == "clamp_rubber":
            continue
        setting = settings.get(place.channel)
        if setting is None:
            have = ", ".join(str(number) for number in settings) or "none"
            raise InputError(
                f"{place.name} is on channel {place.channel} in the car file, the board has the channels {have}: correct the car file"
            )
        shift, count_mv = _counts(setting)
        pieces.append(_reference(place.channel, setting, shift, count_mv))
        known = calibration.channel(place.channel, place.name) if calibration is not None else None
        if calibration is not None and known is None:
            notes.append(
                f"{place.name}: the calibration has no line for this place on channel {place.channel}; its limits are for an uncalibrated probe"
            )
        pieces += _limits(car, fuel, place, setting, count_mv, known)
        if place.probe.indicative:
            notes.append(f"{place.name}: a clamp-on probe is indicative, the lamp never says act for it")
    if not pieces:
        raise InputError(
            "no place of this car file has a limit: give at least one place the role tank, pump, line or carburettor"
        )
    altitude_m = round(car.altitude_m or 0.0)
    head = limit_packing.pack_head(int(made.timestamp()), altitude_m, round(air.pressure_kpa / _UNIT_KPA), pieces)
    return BoardTables(head, tuple(pieces), tuple(notes))


def _counts(setting: ChannelSetting) -> tuple[int, float]:
    """(shift, mV per count): the chip's own code, shifted up until a count is fine enough."""
    one = scale(setting.chip, setting.gain, setting.resolution_bits)
    if one is None:
        names = {number: name for name, number in CHIPS.items()}
        raise InputError(
            f"chip {names.get(setting.chip, setting.chip)} with gain {setting.gain} and {setting.resolution_bits} bit is not known"
        )
    code_mv = float(loop_emf_mv(1, 0.0, one))
    shift = max(0, int(np.ceil(np.log2(code_mv / _COUNT_MV))))
    return shift, code_mv / (1 << shift)


def _reference(channel: int, setting: ChannelSetting, shift: int, count_mv: float) -> bytes:
    """The table to add to the shifted hot code to get EMF against an ice point: E(cold), minus what a linearising chip already added."""
    one = scale(setting.chip, setting.gain, setting.resolution_bits)
    assert one is not None
    codes = np.unique(np.round(_COLD_NODES_DEGC / one.cold_degc_per_code)).astype(int)
    cold_degc = codes * one.cold_degc_per_code
    counts = (emf_mv(cold_degc) + loop_emf_mv(0, cold_degc, one)) / count_mv
    answer: bytes = limit_packing.pack_reference(
        channel, setting.chip, setting.gain, shift, codes.tolist(), np.round(counts).astype(int).tolist()
    )
    return answer


def _limits(
    car: Car, fuel: Fuel, place: Place, setting: ChannelSetting, count_mv: float, known: ChannelCalibration | None
) -> list[bytes]:
    table = fuel.limit_table
    names = {number: name for name, number in CHIPS.items()}
    channel = Channel(names[setting.chip], setting.gain, known.uncertainty_degc if known else None)
    gain, offset_degc = (known.gain, known.offset_degc) if known else (1.0, 0.0)
    pieces = []
    for state in (wire.STANDING, wire.RUNNING):
        conditions = Conditions(running=float(state))
        air_kpa = ambient(car).pressure_kpa
        pressures = at_places(car, conditions, fuel.density_15c_kg_m3)
        # where the pressure leaves no limit at this altitude, the uncertainty is that of the lowest pressure that does
        here = {name: found for name, found in pressures.items() if probe_of(name) == place.name}
        short_kpa = PRESSURE_RANGE_KPA[0] + _UNIT_KPA - min(float(found.pressure_kpa) for found in here.values())
        if short_kpa > 0:
            conditions = replace(conditions, ambient_pressure_kpa=air_kpa + short_kpa)
        shown = margins(car, fuel, {place.name: np.array([50.0])}, conditions, {place.name: channel})
        rows: list[tuple[int, str, Role]] = [(wire.IN_LINE, place.name, car.role_of(place))]
        if place.kind.throttled:
            rows.append((wire.BEHIND_NEEDLE, behind_needle(place.name), ROLES["needle"]))
        for where, name, role in rows:
            ratio = criterion(car, role).vapour_liquid_ratio
            if where == wire.BEHIND_NEEDLE:
                gauge = float(pressures[place.name].pressure_kpa) - air_kpa
                # the line's pressure follows the bowl's: both depend on the air pressure
                bowl_gauge = float(pressures[name].pressure_kpa) - air_kpa
                line = np.clip(_PRESSURE_NODES_KPA - bowl_gauge + gauge, *PRESSURE_RANGE_KPA)
                limit = table.needle_limit_degc(line, _PRESSURE_NODES_KPA, ratio)
            else:
                limit = table.limit_degc(_PRESSURE_NODES_KPA, ratio)
            offset = round((float(pressures[name].pressure_kpa) - air_kpa) / _UNIT_KPA)
            flags = wire.INDICATIVE if place.probe.indicative else 0
            if role.pressure == "line":
                flags |= wire.LINE_PRESSURE
            if role.percolates:
                flags |= wire.PERCOLATES
            per_degc = round(float(seebeck_mv_per_degc(60.0)) / gain / count_mv)
            warn_centi = round(100 * float(shown[name].uncertainty_degc[0]))
            read_there = (limit - offset_degc) / gain
            units, counts = (
                np.round(_PRESSURE_NODES_KPA / _UNIT_KPA).astype(int),
                np.round(emf_mv(read_there) / count_mv).astype(int),
            )
            pieces.append(
                limit_packing.pack_limit(
                    place.channel,
                    state,
                    where,
                    flags,
                    per_degc,
                    min(warn_centi, 65535),
                    offset,
                    units.tolist(),
                    counts.tolist(),
                    round(10 * place.probe.lag_s),
                )
            )
    return pieces
