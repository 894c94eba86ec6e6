"""The words of a heading: split at blanks, underscores and capitals, common abbreviations expanded, in five languages. Not a list of any maker's headings."""

import re
import unicodedata

# idea -> its words in English, German, French, Spanish and Italian, and usual abbreviations, lower case without accents. Common practice, no source.
IDEAS: dict[str, tuple[str, ...]] = {
    "engine": ("engine", "eng", "motor", "moteur", "motore", "crank", "crankshaft"),
    "rpm": (
        "rpm", "revs", "rev", "drehzahl", "drehz", "umdrehungen", "upm", "regime", "tours", "giri", "regimen", "revoluciones", "vueltas",
    ),
    "speed": ("speed", "spd", "geschwindigkeit", "vitesse", "velocidad", "velocita"),
    "torque": ("torque", "torq", "trq", "tq", "moment", "drehmoment", "couple", "par", "coppia", "momento", "ctq"),
    "power": (
        "power", "pwr", "pow", "leistung", "leist", "puissance", "puiss", "potencia", "potenza", "horsepower", "whp", "chp", "bhp",
    ),
    "time": ("time", "elapsed", "zeit", "temps", "tiempo", "tempo", "t", "secs"),
    "temperature": ("temperature", "temp", "tmp", "temperatur", "temperatura"),
    "fuel": ("fuel", "kraftstoff", "benzin", "carburant", "essence", "combustible", "gasolina", "carburante", "benzina", "gasoline", "petrol"),
    "lambda": ("lambda", "lam", "λ"),
    "ratio": ("ratio", "verhaltnis", "relacion", "rapporto"),
    "afr": ("afr",),
    "air": ("air", "luft", "aire", "aria"),
    "flow": ("flow", "durchsatz", "debit", "caudal", "portata", "mass", "masse", "masa", "massa"),
    "maf": ("maf", "cfm", "scfm", "airflow"),
    "intake": ("intake", "inlet", "ansaug", "admission", "admision", "aspirazione", "iat", "cell", "ambient", "amb", "umgebung", "ambiante", "ambiente"),
    "pressure": ("pressure", "press", "druck", "pression", "presion", "pressione"),
    "barometer": ("barometer", "barometric", "baro", "barometrique", "barometrica", "barometro", "atmospheric", "luftdruck", "atmosferica", "station"),
    "humidity": ("humidity", "humid", "hum", "rh", "feuchte", "luftfeuchte", "luftfeuchtigkeit", "humidite", "humedad", "umidita"),
    "gear": ("gear", "gang", "rapport", "marcha", "marcia"),
    "smoothing": ("smoothing", "smooth", "glattung", "lissage", "suavizado", "filtro", "filter"),
    "run": ("run", "pull", "sweep", "lauf", "messung", "essai", "passage", "tirada", "prueba", "prova", "lancio"),
    "spark": ("spark", "ignition", "timing", "advance", "zundung", "zundzeitpunkt", "allumage", "avance", "encendido", "accensione", "anticipo"),
    "coolant": ("coolant", "water", "wasser", "kuhlwasser", "eau", "agua", "acqua", "clt"),
    "oil": ("oil", "ol", "huile", "aceite", "olio"),
    "corrected": ("corr", "corrected", "cor", "sae", "stp", "std", "j1349", "j607", "din", "ece", "iso", "korr", "korrigiert", "corrige", "corrigee",
                  "corregido", "corregida", "corretto", "corretta", "chp", "ctq"),
    "uncorrected": ("uncorr", "uncorrected", "obs", "observed", "raw", "measured", "actual", "unkorrigiert", "gemessen", "brut", "brute", "mesure",
                    "mesuree", "medido", "medida", "misurato", "misurata"),
    "elsewhere": (
        "wheel", "roller", "vehicle", "road", "drum", "loss", "drag", "target", "exhaust", "egt", "boost", "rad", "rolle", "fahrzeug", "verlust",
        "schlepp", "abgas", "roue", "rouleau", "perte", "echappement", "rueda", "rodillo", "perdida", "escape", "ruota", "rullo", "perdita", "scarico",
        "consumption", "verbrauch",
    ),
}  # fmt: skip
_OF = {word: idea for idea, words in IDEAS.items() for word in words}
_OF["chp"] = _OF["ctq"] = "corrected"
_TWO: dict[str, tuple[str, ...]] = {
    "chp": ("power", "corrected"),
    "ctq": ("torque", "corrected"),
    "iat": ("intake", "temperature"),
    "whp": ("power", "elsewhere"),
}
_TWO |= {"clt": ("coolant", "temperature"), "luftdruck": ("barometer", "pressure"), "airflow": ("maf",), "egt": ("elsewhere",)}
_STEMS = sorted((word for word in _OF if len(word) >= 4 or word == "ol"), key=len, reverse=True)
_BRACKETS = re.compile(r"[\[(<{][^\])>}]*[\])>}]")
_PER_MINUTE = re.compile(r"\b1\s*/\s*min\b|\bmin\s*(-1|⁻¹)", re.IGNORECASE)
_PIECES = re.compile(r"[^\W\d_]+|\d+(?:[.,]\d+)?")


def plain(text: str) -> str:
    """Lower case without accents."""
    return "".join(c for c in unicodedata.normalize("NFKD", text) if not unicodedata.combining(c)).casefold()


def words(header: str) -> list[str]:
    """The pieces of a heading without its unit in brackets: "EngSpd_2 (rpm)" -> eng, spd, 2."""
    text = _PER_MINUTE.sub(" ", _BRACKETS.sub(" ", header))
    text = re.sub(r"(?<=[a-zà-ÿ])(?=[A-Z])", " ", text)
    text = re.sub(r"\b([JB]\d{3,4})\b", lambda match: match.group(1).lower().replace("j1349", "sae").replace("j607", "std"), text)
    return _PIECES.findall(plain(text))


def ideas(header: str) -> list[str]:
    """What the words of a heading stand for, in order; unknown words and numbers stay as they are."""
    found: list[str] = []
    for word in words(header):
        found += _ideas_of(word)
    return found


def _ideas_of(word: str) -> list[str]:
    if word in _TWO:
        return list(_TWO[word])
    if word in _OF:
        return [_OF[word]]
    if not word.isascii() or len(word) < 6:
        return [word]
    for stem in _STEMS:  # compound words: Motordrehzahl, Kraftstofftemperatur
        if word.startswith(stem):
            rest = word[len(stem) :].removeprefix("s")
            if rest in _OF:
                return [_OF[stem], *_ideas_of(rest)]
    return [word]
