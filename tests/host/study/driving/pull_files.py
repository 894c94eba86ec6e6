"""Files of pulls in twelve layouts and five languages, all made up here from one set of curves whose values the tests know."""

import numpy as np

RPM = np.arange(2500, 6001, 50.0)
LBFT_NM, HP_KW, PS_KW = 1.3558179483314, 0.745699871582, 0.73549875
NUMBERS = (3, 4, 7)  # running numbers of the three pulls


def torque_nm(number):
    """Curve of pull `number`, 1 % more torque for each."""
    return (420 - 90 * ((RPM - 4000) / 1900) ** 2) * (1 + number / 100)


def power_kw(number):
    return torque_nm(number) * RPM * 2 * np.pi / 60 / 1000


def lines(columns, sep, decimals=3, comma=False):
    text = "\n".join(
        sep.join("" if value != value else f"{value:.{decimals}f}" for value in row) for row in zip(*columns, strict=True)
    )
    return text.replace(".", ",") if comma else text


def stacked(number_first=True):
    """(number, rpm, torque Nm, power kW), the three pulls one below the other."""
    every = [np.column_stack([np.full(len(RPM), n), RPM, torque_nm(n), power_kw(n)]) for n in NUMBERS]
    return np.concatenate(every).T


def single_english(n=3):
    head = f"Run {n}\nDate: 2026-05-03 14:{n:02d}\nBarometer: 29.10 inHg\nIntake air temp: 86 F\nHumidity: 45 %\nGear: 4\nSmoothing: 5\nFigures as measured\n"
    return head + "RPM,Torque (lb-ft),Power (hp)\n" + lines([RPM, torque_nm(n) / LBFT_NM, power_kw(n) / HP_KW], ",")


def single_german(n=3):
    head = (
        f"Messung Nr. {n}\nam 03.05.2026 um 14:{n:02d}\nLuftdruck: 985,4 hPa\nLufttemperatur: 30 °C\nLuftfeuchte: 45 %\nGang: 4\n"
    )
    columns = [RPM, torque_nm(n), power_kw(n) / PS_KW]
    return head + "Motordrehzahl;Drehmoment;Leistung\n1/min;Nm;PS\n" + lines(columns, ";", comma=True)


def stacked_french():
    number, rpm, torque, power = stacked()
    return "Essai;Régime moteur (tr/min);Couple (N.m);Puissance (ch)\n" + lines(
        [number, rpm, torque, power / PS_KW], ";", comma=True
    )


def stacked_spanish():
    number, rpm, torque, power = stacked()
    return "Régimen (rpm)\tPrueba n\tPar motor (Nm)\tPotencia (kW)\n" + lines([rpm, number, torque, power], "\t", comma=True)


def beside_italian():
    heads = ";".join(f"Giri motore {n};Coppia {n} (Nm);Potenza {n} (CV)" for n in NUMBERS)
    columns = [c for n in NUMBERS for c in (RPM, torque_nm(n), power_kw(n) / PS_KW)]
    return heads + "\n" + lines(columns, ";", comma=True)


def beside_one_speed():
    heads = "RPM," + ",".join(f"Tq #{n} (lb-ft)" for n in NUMBERS)
    return heads + "\n" + lines([RPM, *(torque_nm(n) / LBFT_NM for n in NUMBERS)], ",")


def beside_repeated():
    titles = ",".join(f"Run {n},," for n in NUMBERS)
    heads = ",".join("RPM,Torque lb-ft,HP" for _ in NUMBERS)
    columns = [c for n in NUMBERS for c in (RPM, torque_nm(n) / LBFT_NM, power_kw(n) / HP_KW)]
    return f"{titles}\n{heads}\n" + lines(columns, ",")


def shortenings(n=3):
    return "EngSpd_rpm|EngTq_Nm|EngPwr_kW\n" + lines([RPM, torque_nm(n), power_kw(n)], "|")


def sweeps_in_blanks():
    """Three sweeps one after the other with coasting in between, columns aligned with blanks, weather as columns."""
    rows = ["Time   Eng Spd   Pwr (kW)   Air temp (C)   Baro (kPa)   Rel Hum (%)"]
    second = 0.0
    for n in NUMBERS:
        for r, p in zip(RPM, power_kw(n), strict=True):
            rows.append(f"{second:.2f}   {r:.0f}   {p:.3f}   {25 + n:.1f}   98.20   40.0")
            second += 0.1
        for r in RPM[-2::-4]:
            rows.append(f"{second:.2f}   {r:.0f}   2.000   {25 + n:.1f}   98.20   40.0")
            second += 0.1
    return "\n".join(rows)


def utf16_italian(n=3):
    text = "Giri motore (giri/min)\tCoppia (Nm)\tPressione barometrica (hPa)\tTemperatura aria aspirazione (°C)\tUmidità (%)\n"
    full = np.full(len(RPM), 1.0)
    return (text + lines([RPM, torque_nm(n), 982 * full, 28 * full, 40 * full], "\t", comma=True)).encode("utf-16")


def workbook(path, sheets):
    """An .xlsx file with {sheet name: rows}."""
    from openpyxl import Workbook

    book = Workbook()
    book.remove(book.active)
    for name, rows in sheets.items():
        sheet = book.create_sheet(name)
        for row in rows:
            sheet.append(list(row))
    book.save(path)


def sheet_rows(n):
    head = [["Prüfstand"], ["Lufttemperatur", 30.0, "°C"], ["Luftdruck", 985.4, "hPa"], ["Luftfeuchte", 45.0, "%"], []]
    body = [[float(r), float(t), float(p)] for r, t, p in zip(RPM, torque_nm(n), power_kw(n), strict=True)]
    return [*head, ["Drehzahl (1/min)", "Drehmoment (Nm)", "Leistung (kW)"], *body]


def stacked_sheet():
    return [["Run", "Engine speed (rpm)", "Torque (Nm)", "Power (kW)"], *stacked().T.tolist()]


ONE = {
    "english, lines above": single_english,
    "german, units row, decimal comma": single_german,
    "shortenings, bars": shortenings,
    "italian, UTF-16, weather columns": utf16_italian,
}
SEVERAL = {
    "french, stacked": stacked_french,
    "spanish, stacked, number second": stacked_spanish,
    "italian, numbers in headings": beside_italian,
    "one engine speed for all": beside_one_speed,
    "repeated headings under titles": beside_repeated,
    "sweeps in blanks": sweeps_in_blanks,
    "workbook, one sheet a pull": lambda: {
        **{f"Messung {n}": sheet_rows(n) for n in NUMBERS},
        "Notizen": [["Wer", "ich"], ["Ort", "hier"]],
    },
    "workbook, stacked": lambda: {"all": stacked_sheet()},
}


def write(path, made):
    """Write one of the above; returns the path, with .xlsx where it is a workbook."""
    if isinstance(made, dict):
        path = path.with_suffix(".xlsx")
        workbook(path, made)
    else:
        path.write_bytes(made if isinstance(made, bytes) else made.encode())
    return path
