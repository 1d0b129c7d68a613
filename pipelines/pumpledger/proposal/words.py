"""Words of column names, in several languages: what a column may measure, and in which unit.

Belongs here: words of the trade and of units, and how a name is searched for them. What the values say is elsewhere.
The words are common ones of the trade and of dictionaries; no list of any program was used.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass

STEMS: dict[str, tuple[str, ...]] = {
    "speed": (
        "speed", "rpm", "drehzahl", "vitesse", "velocidad", "velocita", "velocidade", "toerental", "giri", "regime",
        "hastighet", "varvtal",
    ),
    "power": (
        "power", "watt", "watts", "leistung", "puissance", "potencia", "potenza", "vermogen", "wirkleistung", "effekt",
    ),
    "energy": (
        "energy", "consumption", "energie", "verbrauch", "consommation", "energia", "consumo", "verbruik", "arbeit",
        "kwh", "wh", "mwh",
    ),
    "run": (
        "run", "runtime", "running", "betriebsstunden", "laufzeit", "marche", "fonctionnement", "marcha",
        "funzionamento",
        "funcionamento", "draaiuren", "betrieb", "operating",
    ),
    "flow": (
        "flow", "flowrate", "durchfluss", "volumenstrom", "debit", "caudal", "portata", "vazao", "debiet", "gpm", "lpm",
        "forderstrom",
    ),
    "temperature": ("temperature", "temp", "temperatur", "temperatura", "temperatuur"),
    "aux": (
        "aux", "auxiliary", "heater", "heating", "chlorinator", "booster", "relay", "relais", "heizung", "chlorinateur",
        "chauffage", "rele", "calentador", "hilfs", "zusatz", "verwarming", "riscaldatore", "clorinatore", "salt",
    ),
    "pump": ("pump", "pumpe", "pompe", "bomba", "pompa", "pomp", "pumpen"),
    "device": ("device", "unit", "serial", "id", "gerat", "appareil", "equipo", "apparaat", "meter", "logger"),
    "site": (
        "site", "pool", "location", "anlage", "standort", "becken", "piscine", "bassin", "lieu", "sitio", "piscina",
        "instalacion", "impianto", "locatie", "zwembad", "station", "objekt",
    ),
    "time": (
        "time", "date", "timestamp", "datetime", "zeit", "datum", "uhrzeit", "zeitstempel", "heure", "horodatage",
        "fecha",
        "hora", "data", "ora", "tijd", "tijdstip", "epoch", "clock", "stamp", "uhr", "when", "at",
    ),
}  # fmt: skip
"""Meaning -> words, accents taken off."""

HINTS: dict[str, tuple[str, ...]] = {
    "counter": (
        "total", "counter", "cumulative", "zahler", "zahlerstand", "stand", "compteur", "index", "contador",
        "contatore",
        "teller", "meterstand", "lifetime", "register", "odometer", "totalizer", "acumulada", "totale", "cumul",
    ),
    "begin": ("begin", "beginning", "start", "from", "von", "beginn", "debut", "inicio", "inizio", "desde", "ab"),
    "end": ("end", "ending", "until", "bis", "ende", "fin", "fine", "einde", "hasta", "stop"),
    "mean": ("mean", "avg", "average", "mittel", "mittelwert", "moyenne", "media", "gemiddelde", "durchschnitt"),
    "utc": ("utc", "gmt", "zulu"),
    "local": ("local", "lokal", "ortszeit", "locale"),
    "air": (
        "air", "ambient", "outdoor", "outside", "luft", "aussen", "exterieure", "exterieur", "ambiente", "aire", "aria",
        "esterna", "buiten", "lucht", "aussentemperatur", "lufttemperatur", "ext", "exterior",
    ),
}  # fmt: skip
"""What else a name may say."""

OTHER_THINGS = frozenset(
    {
        "target", "set", "setpoint", "soll", "sollwert", "consigne", "command", "commanded", "wanted", "max", "maximum",
        "minimum", "limit", "rated", "nominal", "wind", "fan", "solar", "signal", "battery", "factor", "cost", "price",
        "reactive", "apparent", "available",
    }
)  # fmt: skip
"""Words that turn a column into something the readings do not hold: wanted speed, power factor, wind."""

OTHER_TEMPERATURES = frozenset({"water", "wasser", "eau", "agua", "acqua", "motor", "drive", "pool", "controller"})
"""Words of temperatures that are not the air's."""

UNITS: dict[str, tuple[str, ...]] = {
    "rpm": ("rpm", "1/min", "u/min", "min-1", "tr/min", "r/min", "rev/min", "giri/min", "omw/min", "upm"),
    "kWh": ("kwh", "kw h", "kw.h", "kilowatt hours"),
    "MWh": ("mwh",),
    "Wh": ("wh", "w h", "watt hours"),
    "kW": ("kw", "kilowatt", "kilowatts"),
    "W": ("w", "watt", "watts"),
    "m3/h": ("m3/h", "m^3/h", "cbm/h", "m3h", "m3 h", "m3/hr", "cmh"),
    "gpm": ("gpm", "gal/min", "usgpm"),
    "L/min": ("l/min", "lpm", "litres/min"),
    "L/s": ("l/s", "lps"),
    "%": ("%", "pct", "percent", "prozent"),
    "Hz": ("hz", "hertz"),
    "C": ("°c", "degc", "deg c", "c", "celsius"),
    "F": ("°f", "degf", "deg f", "f", "fahrenheit"),
    "h": ("h", "hr", "hrs", "hour", "hours", "std", "stunden", "betriebsstunden", "heures", "horas", "ore"),
    "min": ("min", "mins", "minutes", "minuten", "minutos", "minuti"),
    "s": ("s", "sec", "secs", "seconds", "sekunden", "secondes", "segundos", "secondi"),
}  # fmt: skip
"""Unit of a dialect -> how names write it, in lower case."""

UNITS_OF: dict[str, tuple[str, ...]] = {
    "speed": ("rpm", "%", "Hz"),
    "power": ("W", "kW"),
    "energy": ("Wh", "kWh", "MWh"),
    "run": ("h", "min", "s"),
    "flow": ("m3/h", "gpm", "L/min", "L/s"),
    "temperature": ("C", "F"),
}
"""Meaning -> units that a dialect knows for it."""

_TELLING = {unit: meaning for meaning in ("power", "energy", "flow") for unit in UNITS_OF[meaning]} | {"rpm": "speed"}
"""Units that belong to one quantity alone."""

_FORMS = {form: unit for unit, forms in UNITS.items() for form in forms}
_LONG = sorted((form for form in _FORMS if len(form) > 1 or form == "%"), key=lambda form: (-len(form), form))
_SHORT = sorted(form for form in _FORMS if form not in _LONG)
_UNIT = re.compile(
    rf"(?<![a-z0-9%°/])(?:{'|'.join(map(re.escape, _LONG))})(?![a-z0-9/])"
    rf"|(?:(?<=[\s_(\[/,;])|^)(?:{'|'.join(_SHORT)})(?=[\])]?$)"  # one letter is a unit at the end only
)


@dataclass(frozen=True, slots=True)
class Name:
    """What a column's name says. ``meanings`` may be several, ``unit`` is one of a dialect's; ``rest`` is what is left
    when words of quantity and unit are taken out, in the original spelling."""

    text: str
    meanings: frozenset[str]
    hints: frozenset[str]
    unit: str | None
    other: bool
    rest: str

    @property
    def quantity(self) -> str | None:
        """The one measured thing that the name speaks of; ``None`` for none, several, or something else."""
        measured = self.meanings & set(UNITS_OF)
        telling = _TELLING.get(self.unit or "")
        if self.other:
            return None
        if telling and (not measured or telling in measured):
            return telling
        if len(measured) > 1 and self.unit:
            measured = {meaning for meaning in measured if self.unit in UNITS_OF[meaning]}
        return next(iter(measured)) if len(measured) == 1 else None

    @property
    def its_unit(self) -> str | None:
        """The unit in the name, where it is one of its quantity."""
        return self.unit if self.quantity and self.unit in UNITS_OF[self.quantity] else None


def plain(text: str) -> str:
    """Lower case, accents off, words that a change of case joins taken apart: ``Débit [m³/h]`` -> ``debit [m3/h]``."""
    apart = re.sub(r"(?<=[a-z]{2})(?=[A-Z])", " ", text)
    letters = unicodedata.normalize("NFKD", apart.replace("°", "\0")).replace("\0", "°")
    return "".join(mark for mark in letters if not unicodedata.combining(mark)).replace("ß", "ss").lower()


def read_name(text: str, unit_cell: str = "") -> Name:
    """What the column name ``text`` says, with the cell of a units line below it, if there is one."""
    lowered = plain(text)
    unit, spot = _unit_in(plain(unit_cell)) if unit_cell else (None, None)
    if unit is None:
        unit, spot = _unit_in(lowered)
    words = set(re.findall(r"[a-z]+", lowered))
    meanings = {meaning for meaning, stems in STEMS.items() if words & set(stems) or _compound(words, stems)}
    hints = {hint for hint, stems in HINTS.items() if words & set(stems) or _compound(words, stems)}
    if "air" in hints and unit in UNITS_OF["temperature"]:
        meanings.add("temperature")
    other = bool(words & OTHER_THINGS) or ("temperature" in meanings and bool(words & OTHER_TEMPERATURES))
    return Name(text, frozenset(meanings), frozenset(hints), unit, other, _rest(text, spot))


def _compound(words: set[str], stems: tuple[str, ...]) -> bool:
    """German and Dutch write ``Pumpendrehzahl``: a long stem at the end or the start of a word counts."""
    long = [stem for stem in stems if len(stem) >= 6]
    return any(word != stem and (word.endswith(stem) or word.startswith(stem)) for word in words for stem in long)


def _unit_in(lowered: str) -> tuple[str | None, str | None]:
    """(unit, as written): the first that tells the quantity, else the last in the name."""
    found = _UNIT.findall(lowered.strip())
    telling = [form for form in found if _FORMS[form] in _TELLING]
    form = telling[0] if telling else found[-1] if found else None
    return (_FORMS[form], form) if form else (None, None)


_NO_CODE = frozenset(
    {stem for meaning in (*UNITS_OF, "time") for stem in STEMS[meaning]}
    | {stem for hint in ("counter", "mean", "air") for stem in HINTS[hint]}
)


def _rest(text: str, unit_form: str | None) -> str:
    """``text`` from its first to its last word that is neither a quantity's nor the unit, brackets at the ends off."""
    if unit_form:
        unit = rf"[\[(]?{re.escape(unit_form).replace('3', '[3³]')}[\])]?"
        text = re.sub(rf"(?i)(?<![^\W_]){unit}(?![^\W_])(?!.*(?<![^\W_]){unit}(?![^\W_]))", "", text, count=1)
    words = [word for word in re.finditer(r"[^\W_]+", text) if plain(word[0]) not in _NO_CODE]
    return text[words[0].start() : words[-1].end()] if words else ""


def unit_only(cell: str) -> bool:
    """Whether a cell holds nothing but a unit, perhaps in brackets."""
    lowered = re.sub(r"^[\[(]\s*|\s*[\])]$", "", plain(cell).strip())
    return lowered in _FORMS


def knows_word(text: str) -> bool:
    """Whether a name holds any known word or unit."""
    name = read_name(text)
    return bool(name.meanings or (name.unit and len(name.text) > 1))
