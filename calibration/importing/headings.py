"""The names people give to their columns, in six languages, and the units they put beside them.

Common words of English, German, French, Italian, Spanish and Portuguese; where a word means two things, the cells of
the column decide.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from functools import cache

from calibration.importing.fields import FIELDS, Kind

# key of a field: words, parted by |, plain (see `plain`)
_WORDS = {
    "day": ("date|day|brew date|brewed on|datum|tag|brühdatum|jour|date du brew|data|giorno|fecha|día|dia"),
    "time": "time|time of day|hour|at|clock|uhrzeit|zeit|heure|ora|orario|hora|horário",
    "moment": (
        "date|day|datum|data|fecha|date / time|date/time|date and time|datetime|date time|timestamp|"
        "when|brewed at|datum und uhrzeit|datum uhrzeit|zeitpunkt|zeitstempel|date et heure|"
        "date heure|horodatage|data e ora|data ora|fecha y hora|fecha hora|data e hora|data hora"
    ),
    "barista": (
        "barista|who|name|brewer|brewed by|person|staff|by|wer|mitarbeiter|mitarbeiterin|gebrüht von|"
        "qui|nom|préparé par|chi|nome|preparato da|quién|nombre|preparado por|quem|feito por"
    ),
    "recipe": "recipe|recipe name|brew recipe|rezept|recette|ricetta|receta|receita",
    "coffee": ("coffee|coffee name|bean|beans|kaffee|bohne|bohnen|café|grains|caffè|chicchi|granos|grãos"),
    "batch": (
        "batch|lot|roast batch|batch label|lot number|batch number|batch no|charge|röstcharge|los|"
        "partie|lotto|partita|lote|partida|lot de torréfaction|lotto di tostatura|lote de tueste|"
        "lote de torra"
    ),
    "roasted_on": (
        "roast date|roasted|roasted on|date roasted|röstdatum|geröstet|geröstet am|röstung|"
        "date de torréfaction|torréfié le|torréfaction|data di tostatura|tostato il|tostatura|"
        "fecha de tueste|tueste|tostado el|data da torra|data de torra|torrado em|torra"
    ),
    "station": ("station|bar|position|place|platz|poste|postazione|stazione|estación|puesto|estação|posto"),
    "grinder": "grinder|mill|mühle|moulin|macinino|macinacaffè|molino|molinillo|moinho|moedor",
    "grind_setting": (
        "grind|grind setting|setting|grind size|clicks|mahlgrad|mahleinstellung|einstellung|mouture|"
        "réglage|réglage du moulin|macinatura|grado di macinatura|regolazione|molienda|ajuste|moagem|"
        "ajuste do moinho"
    ),
    "kettle": "kettle|kessel|wasserkessel|bouilloire|bollitore|hervidor|tetera|chaleira",
    "server": "server|carafe|jug|kanne|servierkanne|serveur|caraffa|brocca|jarra|servidor",
    "dose_g": (
        "coffee|kaffee|café|caffè|dose|dose in|coffee dose|ground coffee|coffee in|coffee weight|"
        "coffee g|dosis|kaffeemenge|einwaage|pulver|dose de café|poids café|dose caffè|dosi|"
        "dosis de café|dose de café moído"
    ),
    "water_g": (
        "water|brew water|water in|total water|water weight|wasser|wassermenge|brühwasser|eau|"
        "eau totale|poids eau|acqua|acqua totale|agua|agua total|água|água total"
    ),
    "bypass_g": (
        "bypass|bypass water|added water|dilution|zugabewasser|eau ajoutée|acqua aggiunta|"
        "agua añadida|água adicionada"
    ),
    "ice_g": "ice|eis|glace|glaçons|ghiaccio|hielo|gelo",
    "beverage_g": (
        "yield|ausbeute|resa|rendimento|rendimiento|beverage|beverage mass|beverage weight|"
        "brew weight|yield g|out|coffee out|output|drink weight|getränk|getränkemenge|ausbeute g|"
        "auslauf|boisson|masse boisson|poids boisson|bevanda|peso bevanda|bebida|peso bebida|"
        "peso da bebida"
    ),
    "gross_g": (
        "server|kanne|serveur|caraffa|jarra|server + kaffee|server and beverage|gross|gross weight|"
        "server and coffee|server gross|server with coffee|server + coffee|brutto|kanne mit kaffee|"
        "kanne + kaffee|brut|poids brut|lordo|peso lordo|bruto|peso bruto"
    ),
    "brew_time_s": (
        "time|zeit|heure|brew time|brewing time|total time|contact time|time total|tbt|duration|"
        "brühzeit|brühdauer|dauer|gesamtzeit|durchlaufzeit|temps|temps d extraction|temps total|"
        "durée|tempo|tempo di estrazione|tempo totale|durata|tiempo|tiempo de extracción|"
        "tiempo total|duración|tempo de extração|tempo total|duração"
    ),
    "tds": (
        "tds|strength|tds drop|drop|reading|tds reading|brix|stärke|tropfen|konzentration|force|"
        "goutte|concentration|forza|goccia|concentrazione|fuerza|gota|concentración|força|"
        "concentração"
    ),
    "yield_pct": (
        "extraction yield|extraction|ey|yield|ext|extraktion|extraktionsausbeute|ausbeute|rendement|"
        "taux d extraction|estrazione|resa|extracción|rendimiento|extração|rendimento"
    ),
    "sample_temperature_C": (
        "temp|temperature|temperatur|température|temperatura|probe|sample temperature|sample temp|"
        "temp sample|sample|probentemperatur|probe temperatur|température échantillon|"
        "température de l échantillon|temperatura campione|temperatura del campione|"
        "temperatura muestra|temperatura de la muestra|temperatura da amostra"
    ),
    "slurry_temperature_C": (
        "slurry temperature|slurry temp|slurry|bed temperature|brew temperature|brew temp|"
        "temperature|temp|brühtemperatur|temperatur|température|température d infusion|temperatura|"
        "temperatura di estrazione|temperatura de extracción|temperatura de extração"
    ),
    "kind": "kind|type|kind of brew|brew type|art|typ|genre|tipo",
    "instrument": (
        "instrument|refractometer|device|meter|refraktometer|gerät|messgerät|réfractomètre|appareil|"
        "rifrattometro|strumento|refractómetro|instrumento|refratômetro|refratómetro"
    ),
    "taste": (
        "taste|notes|note|tasting notes|taste note|flavour|flavor|comment|comments|remarks|geschmack|"
        "notiz|notizen|bemerkung|bemerkungen|kommentar|goût|dégustation|commentaire|remarques|gusto|"
        "assaggio|commenti|osservazioni|sabor|notas|cata|comentarios|observaciones|comentários|"
        "observações"
    ),
    "origin": ("origin|country|region|farm|herkunft|land|ursprung|origine|pays|paese|origen|país|origem"),
    "process": (
        "process|processing|process method|aufbereitung|verarbeitung|traitement|procédé|"
        "process de traitement|lavorazione|processo|proceso|beneficio|processamento"
    ),
    "roast_level": (
        "röstung|torréfaction|tostatura|tueste|torra|roasted|roast|roast level|roast degree|röstgrad|"
        "degré de torréfaction|niveau de torréfaction|grado di tostatura|livello di tostatura|"
        "nivel de tueste|grado de tueste|nível de torra|grau de torra"
    ),
    "received_on": (
        "received|received on|date received|arrived|delivery|delivered|eingang|eingegangen|erhalten|"
        "geliefert|reçu|reçu le|livraison|ricevuto|ricevuto il|consegna|recibido|recibido el|entrega|"
        "recebido|recebido em"
    ),
    "opened_on": (
        "opened|opened on|date opened|open|geöffnet|geöffnet am|angebrochen|ouvert|ouvert le|aperto|"
        "aperto il|abierto|abierto el|aberto|aberto em"
    ),
    "frozen_on": (
        "frozen|frozen on|date frozen|eingefroren|eingefroren am|congelé|congelé le|congelato|"
        "congelato il|congelado|congelado el|congelado em"
    ),
    "thawed_on": (
        "thawed|thawed on|defrosted|aufgetaut|aufgetaut am|décongelé|décongelé le|scongelato|"
        "scongelato il|descongelado|descongelado el|descongelado em"
    ),
    "used_up_on": (
        "used up|used up on|finished|empty|aufgebraucht|aufgebraucht am|leer|fini|épuisé|finito|"
        "esaurito|agotado|terminado|acabado|esgotado"
    ),
    "density_g_l": (
        "density|bulk density|bean density|dichte|schüttdichte|densité|masse volumique|densità|"
        "densidad|densidade"
    ),
    "note": (
        "note|notes|comment|comments|remarks|notiz|notizen|bemerkung|kommentar|commentaire|remarques|"
        "commenti|osservazioni|notas|comentarios|observaciones|comentários|observações"
    ),
}
_ONLY_LOTS = {
    "coffee": "name|coffee name|nom|nome|nombre|sorte",
    "batch": "label|number|no|nummer|numéro|número|numero",
}
_TOTALS = (
    "sum|total|totals|average|mean|avg|median|min|max|count|sd|std|stdev|deviation|summe|gesamt|"
    "durchschnitt|schnitt|mittelwert|mittel|anzahl|ø|somme|moyenne|ecart|somma|totale|media|mediana|"
    "medio|conteggio|suma|promedio|recuento|soma|minimum|maximum"
)
TOTALS = frozenset(_TOTALS.split("|"))
"""Words that begin a row which adds up those above it."""

_UNITS = {
    "g": "g|gr|gram|grams|gramm|gramme|grammes|grammi|gramos|gramas",
    "kg": "kg|kilo|kilogram|kilograms",
    "ml": "ml|millilitre|millilitres|milliliter|milliliters|cc",
    "l": "l|litre|litres|liter|liters",
    "oz": "oz|ounce|ounces",
    "fl oz": "fl oz|floz|fluid ounce|fluid ounces",
    "C": "°c|c|celsius|ºc|grad c",
    "F": "°f|f|fahrenheit|ºf",
    "%": "%|pct|percent|per cent|prozent|pour cent|per cento|por ciento|por cento",
    "s": "s|sec|secs|second|seconds|sek|sekunde|sekunden|seconde|secondes|secondi|segundos|seg",
    "min": "min|mins|minute|minutes|minuten|minuti|minutos",
    "m:ss": "m:ss|mm:ss|min:s|min:ss|min:sec|m:s|mm:s|min:sek",
    "g/l": "g/l|g l",
}
UNITS = {word: unit for unit, words in _UNITS.items() for word in words.split("|")}
_LEFT_ALONE = (
    "ratio|brew ratio|water ratio|week|woche|month|monat|weekday|wochentag|id|nr|no|#|row|water temp|"
    "water temperature|kettle temperature|kettle temp|wassertemperatur|temperature de l eau|"
    "temperatura acqua|temperatura del agua|liquid retained|days off roast|age|cafe|shop|price|preis|"
    "prix|target tds|target|ziel"
)
LEFT_ALONE = frozenset(_LEFT_ALONE.split("|"))
"""Headings of what is known and not brought in: cells that look like something else don't make it so."""
BRIX = frozenset({"brix", "°brix", "bx", "°bx"})
_IN_BRACKETS = re.compile(r"[(\[]([^)\]]*)[)\]]")
_LAST_WORD = re.compile(r"[\s,/_]+(in\s+)?(\S+)$")


@dataclass(frozen=True, slots=True)
class Heading:
    """name: plain, without its unit and number; unit: one of the keys of units, or none; number: of "TDS 2"."""

    name: str
    unit: str = ""
    number: int | None = None


def plain(text: str) -> str:
    """In small letters without accents, its words parted by single spaces."""
    parted = re.sub(r"([a-z])([A-Z])(?=[a-z])", r"\1 \2", text)
    letters = unicodedata.normalize("NFKD", parted.replace("ß", "ss").casefold())
    bare = "".join(one for one in letters if not unicodedata.combining(one))
    return re.sub(r"[^\w%°:+/]+|_+", " ", bare).strip()


def taken_apart(text: str) -> Heading:
    """ "Dose (g)", "TDS 2 [%]", "brew_time_s"."""
    unit = ""
    for inside in _IN_BRACKETS.findall(text):
        unit = unit or UNITS.get(inside.strip().casefold(), "")
    bare = _IN_BRACKETS.sub(" ", text).replace("_", " ").strip().rstrip(":")
    if bare.casefold().endswith(" g l"):
        unit, bare = "g/l", bare[:-4]
    if not unit and (match := _LAST_WORD.search(bare)) and plain(bare) not in ANY:
        unit = UNITS.get(match[2].casefold(), "")
        bare = bare[: match.start()] if unit else bare
    if not unit and bare.endswith("%"):
        unit, bare = "%", bare[:-1]
    name, number = plain(bare), None
    if match := re.fullmatch(r"(.*\D)\s*#?\s*(\d{1,2})(?:st|nd|rd|th)?", name):
        name, number = match[1].strip(), int(match[2])
    elif match := re.fullmatch(r"(\d{1,2})(?:st|nd|rd|th|\.)?\s+(\D.*)", name):
        name, number = match[2], int(match[1])
    return Heading(name, unit, number)


@cache
def known_names(kind: Kind) -> dict[str, tuple[str, ...]]:
    """Plain name -> keys of the fields it can mean."""
    found: dict[str, tuple[str, ...]] = {}
    for key in FIELDS[kind]:
        more = _ONLY_LOTS.get(key, "") if kind is Kind.LOTS else ""
        for word in f"{_WORDS[key]}|{more}".split("|"):
            if word and key not in found.get(plain(word), ()):
                found[plain(word)] = (*found.get(plain(word), ()), key)
    return found


ANY: frozenset[str] = frozenset(plain(word) for words in _WORDS.values() for word in words.split("|"))
