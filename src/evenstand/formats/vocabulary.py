"""The words that columns of logs are named with, in English, German and French, and what each can mean."""

from __future__ import annotations

import re
import unicodedata
from functools import lru_cache

_TABLE = """
time: t uptime millis ticks tijd momento time times timestamp datetime stamp zeit zeitstempel zeitpunkt horodatage horodate temps ts epoch
    unix iso instant elapsed observed recorded logged moment fahrzeit zeitmarke
date: fecha datum giorno dia data date dates dat jour day tag
clock: hora tijd ora clock uhrzeit uhr heure heures tod
utc: zeitutc utc gmt zulu
local: local lokal lokale locale ortszeit
satellite: gps gnss rtk position pos wgs geo decimal dezimal antenna antenne receiver ddmm dms
lon: longitud longitudine longitude lengte lo lon long lng laenge laengengrad
lat: latitud latitudine breedte la lat latitude breite breitengrad ltd
hemisphere: ns ew hemisphere hemi
west: west ouest oeste ovest
south: south sued sur
east: east easting est ostwert rechtswert hochrechts rw e x
north: north northing nord nordwert hochwert hw n y
grid: utm coord coordinate coords koordinate koordinaten coordonnee coordonnees grid proj projected gauss lambert
speed: velocidad velocidade velocita snelheid geschwind speed spd velocity vel v sog gs geschw geschwindigkeit vitesse vit tempo gsp kph kmh
ground: ground gnd true vehicle travel wheel forward fahr fahrt over tractor traktor machine avancement sol rad roue vehicule measured
    groundspeed reise radar
heading: rumbo koers rotta rumo heading hdg hd course cog bearing track trk kurs richtung fahrtrichtung cap direction dir azimuth azimut yaw
    orientation
way: distancia distanza afstand dist distance step travel trip odometer odo weg wegstrecke strecke parcours travelled traveled parcourue
    parcouru fahrweg chemin trajet way path pulses mileage dst
area: area superficie oppervlakte acres acre ac ha hectares hectare flaeche surface hectarage acreage
total: totaal totale total totals cumulative cumulated cum cumul counter gesamt gesamte totaux totalizer accumulated zaehler compteur
    cumulee cumule sum tot kumuliert kumulierte acc running
done: sembrada lavorata seminata semeada gezaaid worked field seeded sown done covered bearbeitet bearbeitete travaillee semee gesaet
    seeding gesaete parcelle effektiv
tool: saeschiene schiene rahmen chassis implement impl tool seminatrice sembradora semeadora outil geraet openers opener hitch attelage
    drill seeder planter semoir hubwerk maschine saemaschine relevage attachment boom bar toolbar schare hydraulik hydraulic linkage
    heckhubwerk dreipunkt
state: estado stato state status stellung position pos zustand etat states on off lage switch schalter
up: oben haut levantado levantada opgeheven sollevata sollevato alzata alzato gelift lifted lift raised up ausgehoben angehoben aushub
    gehoben releve relevee relevage leve hoch levee
down: unten bas bajado bajada abbassata abbassato abaixada abaixado neergelaten lowered down abgesenkt gesenkt baisse abaisse baissee ground
    terre
work: sembrando trabajo lavoro werk trabajando work working arbeit arbeits travail engaged seeding sowing active aktiv actif master main
    hauptschalter semis semer saeen drilling sow
section: abschn seccion sezione sectie coupure sec sect section boom swath sw teilbr teilbreite tb troncon abschnitt
sections: secciones sezioni secties sections troncons teilbreiten swaths sectionen abschnitte
bits: mask bits bitmask bit word code bitfield maske masque hex
seconds: sec secs second seconds sekunden secondes sekunde seconde
run: run opener hose tube row blockage blk blocked reihe schar rang ligne descente saeleitung outlet leitung drillreihe schlauch
flowseen: flow present seen ok sensor fluss flux capteur koernerfluss saatfluss blocked blockage durchfluss state status
meter: meter dosierer doseur metering dosing dosierung dosierwelle zellenrad roller shaft arbre
turns: rev vueltas giri giro voltas turns revs revolutions umdr umdrehungen tours rotations umdrehung
asked: objetivo obiettivo alvo impostata impostato programada ingesteld gewenst demandee demande zielwert ziel doel solicitada asked target
    tgt prescribed desired setpoint planned set soll sollwert consigne prescription presc vorgabe requested cible wanted commanded command
    cmd demand demanded sp voulue voulu programmed nominal gewuenscht vise visee ref reference
echoed: got aplicada aplicado applicata effettiva effettivo toegediend gegeven echoed applied appl actual act reported shown ist istwert
    reel reelle applique appliquee real realise realisee now current measured meas mesuree mesure delivered achieved pv feedback effective
    effektiv gemessen ausgebracht
rate: dosis dosi saatstaerke dosering dosierung gift rate rates dose menge ausbringmenge dosage aufwandmenge wert application ausbringung
    saatmenge aussaat kornmenge quantite
bin: tolva tramoggia producto tanque bin tank product prod hopper channel kammer behaelter cuve tremie produit produkt compartment box kanal
seed: semilla seme zaad seed seeds saatgut saat semence semences grain wheat barley canola lentil pea weizen gerste raps ble orge
fertilizer: fertilizante concime kunstmest fert fertilizer fertiliser duenger engrais urea harnstoff uree phosphate npk
fan: ventilador ventilatore ventola turbina ventoinha fan blower geblaese turbine ventilateur soufflerie luefter soufflante
spin: giri rpm drehzahl regime rotation hz speed turns tr rev
mass: mass masse massen massique
flow: flow debit strom massenstrom durchfluss fluss throughput
interval: interval intervall intervalle cycle duration dauer duree dt logging period periode
fix: fix quality qualitaet qualite gps
type: type mode value val art
number: id index idx record rec no nr fid objectid row n lfd num numero enregistrement zeile line point pt punkt ligne seq
filler: since last previous so far each the of de du la le les at as der die das zu au en d l a et and was is in per im
other: hoogte altitud operador operario nota notas observaciones temperatura presion remaining restante hpa unit units unite einheit
    satellites satellite sats sat sv svs hdop pdop vdop dop operator driver fahrer chauffeur conducteur temperature temp temperatur
    elevation elev altitude alt hoehe height ht depth tiefe ablagetiefe profondeur xte crosstrack engine eng motor moteur note notes remark
    remarks comment comments bemerkung bemerkungen remarque commentaire pass passe job task auftrag schlag farm rest restant reste left
    level fuel diesel pressure druck pression slip schlupf patinage hours betriebsstunden crop variety sorte moisture humidity feuchte
    humidite wind accuracy error age width arbeitsbreite largeur name event warning alarm voltage load torque yield customer gaz battery
    akku sigma provider sol solution depression vacuum unterdruck density weight gewicht poids kilograms prescription zone roll pitch slope
    neigung deviation abweichung ecart guidance signal correction baseline station valve vanne ventil steering lenkwinkel pto zapfwelle
    hydraulikdruck downforce bodendruck price cost spacing population singulation filled empty usage headland vorgewende tournaille
    transport strassenfahrt received uploaded sent saved stored base boost amps volts rssi limit max min avg mean cross offset skips doubles
"""
"""Each meaning with its words: plain letters, umlauts in two letters."""
_WEAK = """
ac act active base boom box breite cap code current cycle data day dir direction drill duration e flow gps ground gs ha hd la laenge line lo
ltd main mass master measured moment n now observed path period pos product pv quality recorded richtung row sec seconds secs seed set sp
surface t tag track transport trip v way wert work x y
"""
MEANINGS: dict[str, str] = dict(re.findall(r"(?m)^(\w+): ((?:.|\n )*)", _TABLE))
WEAK = frozenset(_WEAK.split())
"""Words that can mean something else; alone they are no certain name."""
WORDS: dict[str, frozenset[str]] = {}
for _meaning, _many in MEANINGS.items():
    for _word in _many.split():
        WORDS[_word] = WORDS.get(_word, frozenset()) | {_meaning}
_PHRASES = (
    ("time of day", "clock"), ("as applied", "applied"), ("fecha y hora", "timestamp"), ("data e ora", "timestamp"),
    ("data e hora", "timestamp"), ("cross track", "xte"), ("wgs 84", "wgs"),
)  # fmt: skip
_LONG = re.compile(r"[A-Za-z]+|\d+")
_LETTER_NUMBER = re.compile(r"\b([bpt])\s?(\d{1,2})\b")
SHORTEST_PART = 3


def plain(text: str) -> str:
    """Lower case without accents; the German umlauts in two letters.

    >>> plain("Länge"), plain("Débit"), plain("Maß")
    ('laenge', 'debit', 'mass')
    """
    low = text.lower()
    for a, b in (("ä", "ae"), ("ö", "oe"), ("ü", "ue"), ("ß", "ss")):
        low = low.replace(a, b)
    return "".join(c for c in unicodedata.normalize("NFKD", low) if not unicodedata.combining(c))


def words_of(text: str) -> list[str]:
    """The words and numbers of a name, in lower case and plain letters; camel case is taken apart.

    >>> words_of("targetRate_2 (Größe)")
    ['target', 'rate', '2', 'groesse']
    """
    spaced = re.sub(r"(?<=[a-zäöü])(?=[A-ZÄÖÜ])", " ", text)
    spaced = re.sub(r"\b[dlDL]['’]|(?<=\b[nN])°", " ", re.sub(r"\b[nN]°", "no ", spaced))
    low = _LETTER_NUMBER.sub(_bin_words, plain(spaced).replace("_", " "))
    low = " ".join(_LONG.findall(low))
    for phrase, word in _PHRASES:
        low = re.sub(rf"\b{phrase}\b", word, low)
    return low.split()


def _bin_words(hit: re.Match[str]) -> str:
    """b1, p2 and t3 beside other words are a bin, product or tank."""
    alone = hit.start() == 0 and hit.end() == len(hit.string.rstrip())
    return hit[0] if alone else f"bin {hit[2]}"


_BY_SKELETON: dict[str, set[frozenset[str]]] = {}
for _word, _can in WORDS.items():
    _bones = _word[0] + re.sub(r"[aeiou]", "", _word[1:])
    if len(_word) > 4 and len(_bones) >= SHORTEST_PART:
        _BY_SKELETON.setdefault(_bones, set()).add(_can)


@lru_cache(maxsize=4096)
def abbreviated(word: str) -> frozenset[str]:
    """What a word cut short can mean: the beginning of known words, or one without its vowels. Empty if several words differ in meaning.

    >>> sorted(abbreviated("geschwind")), sorted(abbreviated("trgt")), sorted(abbreviated("qqq"))
    (['speed'], ['asked'], [])
    """
    if len(word) < SHORTEST_PART:
        return frozenset()
    longer = [can for known, can in WORDS.items() if known.startswith(word) and len(known) > len(word)]
    found = longer or list(_BY_SKELETON.get(word, ()))
    if all(can & {"section", "sections"} for can in found):
        found = found[:1]
    return frozenset.intersection(*found) if found else frozenset()


@lru_cache(maxsize=4096)
def meanings(word: str) -> tuple[frozenset[str], ...]:
    """What a word can mean; for one glued together of known words, what each part can. () if it is unknown.

    >>> [sorted(m) for m in meanings("motordrehzahl")]
    [['other'], ['spin']]
    """
    if word in WORDS:
        return (WORDS[word],)
    if len(word) > 3 and word.endswith("s") and word[:-1] in WORDS:
        return (WORDS[word[:-1]],)
    for at in range(len(word) - SHORTEST_PART, SHORTEST_PART - 1, -1):
        first, second = word[:at], word[at:]
        for link in ("", "s", "n", "en"):
            head = first.removesuffix(link) if link and first.endswith(link) else first if not link else ""
            if head in WORDS and len(head) >= SHORTEST_PART:
                tail = meanings(second)
                if tail:
                    return (WORDS[head], *tail)
    return ()
