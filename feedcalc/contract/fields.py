"""The fields of a request: path, how each is read, default, bounds and meaning.

* `REQUEST_FIELDS` is the only list of fields. The reader, the page and the tests take them from here.
* A default is text that a person could have typed; the same reader reads it.
* Bounds are in the base unit of the field's kind and belong to the range.
"""

from __future__ import annotations

from feedcalc import published
from feedcalc.contract.asks import ASKS
from feedcalc.frozen import frozen
from feedcalc.words.messages import said, said_in

SCHEMA = 1
LONGEST_REQUEST = 200_000
# A request may hold a whole season book, with the request of every batch that was used.
LONGEST_WITH_BOOK = 16_000_000
MOST_WEIGHINGS = 50
PLACES = (
    "open ground",
    "raised bed",
    "pot",
    "plug tray",
    "near pond or drain",
    "greenhouse",
    "hydroponics",
    "worm bin",
)


@frozen
class Field:
    """One field of a request.

    ``kind`` is a name in `QUANTITY_KINDS`, or ``choice``, ``ash``, ``text``, ``passage``, ``moment`` or ``masses``
    (a list of weights). ``default`` is assumed if the field is empty.
    """

    path: str
    kind: str
    meaning: str
    default: str | None = None
    choices: tuple[str, ...] = ()
    minimum: float | None = None
    maximum: float | None = None


ASH_ELEMENTS = ("potassium", "calcium", "magnesium", "sodium", "phosphorus", "sulfur", "chloride")
WATER_IONS = ("calcium", "magnesium", "sodium", "potassium", "chloride", "sulfate")


def names_in(table: str, column: str) -> tuple[str, ...]:
    """Return the distinct values of a column of a published table, in their order."""
    return tuple(dict.fromkeys(row[column] for row in published.table(table)))


def _names_of_indicators(role: str, column: str) -> tuple[str, ...]:
    return tuple(row[column] for row in published.table("indicators") if row["role"] == role)


END_POINTS = _names_of_indicators("end_point", "indicator")
CABBAGE_COLOURS = _names_of_indicators("colour", "colour")


def _water_fields(path: str, whose: str) -> tuple[Field, ...]:
    return (
        Field(f"{path}.analysis.hardness", "hardness", said("total hardness of {whose}", whose=whose), maximum=3000),
        Field(f"{path}.analysis.alkalinity", "alkalinity", said("alkalinity of {whose}", whose=whose), maximum=3000),
        *(
            Field(
                f"{path}.analysis.{ion}", "concentration", said("{ion} in {whose}", ion=ion, whose=whose), maximum=20000
            )
            for ion in WATER_IONS
        ),
        Field(f"{path}.analysis.ph", "ph", said("pH of {whose}", whose=whose), minimum=3, maximum=11),
        Field(f"{path}.analysis.ec", "conductivity", said("conductivity of {whose}", whose=whose), maximum=100),
    )


REQUEST_FIELDS: tuple[Field, ...] = (
    Field("ash.kind", "ash", said("what was burnt"), "mixed", names_in("ash_kinds", "kind")),
    Field("ash.state", "choice", said("how the ash was kept"), "unknown", ("unknown", "fresh", "aged", "leached")),
    Field("ash.amount", "mass_or_volume", said("how much ash goes in")),
    Field("ash.wood", "mass_or_volume", said("how much wood left the ash")),
    Field("ash.measure", "choice", said("how the ash is measured out"), "cups", ("cups", "scales")),
    Field("ash.weighings", "masses", said("what a level measure of the ash weighed, each time it was filled")),
    Field("ash.weighed_measure", "volume", said("the measure that was weighed"), minimum=0.005, maximum=50),
    Field("ash.density", "density", said("weight of a level measure of the ash"), minimum=0.1, maximum=1.5),
    *(
        Field(
            f"ash.analysis.{element}", "mass_fraction", said("{element} in the dry ash", element=element), maximum=600
        )
        for element in ASH_ELEMENTS
    ),
    Field("water.kind", "choice", said("the water the ash steeps in"), "rain", names_in("water_kinds", "kind")),
    Field("water.amount", "volume", said("how much water the ash steeps in"), minimum=0.01, maximum=1e6),
    Field("water.temperature", "temperature", said("temperature of the steep"), "15 °C", minimum=0, maximum=45),
    *_water_fields("water", said("the steeping water")),
    Field(
        "dilution_water.kind",
        "choice",
        said("the water the liquor is diluted with"),
        None,
        names_in("water_kinds", "kind"),
    ),
    *_water_fields("dilution_water", said("the diluting water")),
    Field("steep.time", "time", said("how long it steeps and settles"), "24 h", minimum=0.01, maximum=24 * 60),
    Field("steep.air", "choice", said("whether the bucket is covered or open"), "covered", ("covered", "open")),
    Field("vessel.depth", "length", said("inside height of the bucket"), "30 cm", minimum=0.03, maximum=3),
    Field("vessel.capacity", "volume", said("what the bucket holds when brim-full"), "12 L", minimum=0.05, maximum=1e5),
    Field("use", "choice", said("how the feed is given"), "drench", ("drench", "foliar")),
    Field("stage", "choice", said("how old the plants are"), "established", ("seedling", "young", "established")),
    Field("plant", "text", said_in("what is accepted", "which plant")),
    Field("place", "choice", said("where the plants grow"), None, PLACES),
    Field("season", "choice", said("what the plants are doing now"), None, ("sowing", "growing", "resting")),
    Field("soil.ph", "ph", said("pH of the soil"), minimum=2.5, maximum=11),
    Field("soil.tested_with", "choice", said("how that was measured"), None, ("laboratory", "meter", "kit", "strip")),
    Field("soil.tested_on", "moment", said("when that was measured")),
    Field("soil.target_ph", "ph", said("pH the soil should reach"), minimum=4.5, maximum=7),
    Field("soil.dug_depth", "length", said("how deep dry ash is dug in"), minimum=0.01, maximum=0.6),
    Field("soil.texture", "choice", said("texture of the soil"), None, ("sand", "loam", "clay", "peat")),
    Field("soil.potassium", "soil_content", said("potassium that a test found in the soil"), maximum=5000),
    Field("soil.area", "area", said("area that gets the feed"), minimum=0.001, maximum=1e8),
    Field("acid.kind", "choice", said("acid used to bring the pH down"), None, ("vinegar", "citric acid")),
    Field("acid.strength", "strength", said("strength of the acid"), minimum=0.001, maximum=1),
    Field("acid.target_ph", "ph", said("pH the feed should reach"), minimum=4, maximum=11),
    Field("mixing.with", "choice", said("what else would go into the can"), None, names_in("second_things", "id")),
    Field("mixing.dose", "concentration", said("how much of it in a litre"), maximum=500_000),
    Field("measured.ec", "conductivity", said("conductivity (EC), as read with a meter"), maximum=200_000),
    Field("measured.ph", "ph", said("pH measured with a meter or strip"), minimum=0, maximum=14),
    Field("measured.temperature", "temperature", said("temperature of that reading"), minimum=0, maximum=60),
    Field("measured.compensated", "choice", said("whether the meter corrects it to 25 °C"), None, ("yes", "no")),
    Field("measured.ph_by", "choice", said("what the pH was measured with"), None, ("meter", "strip")),
    Field("measured.ph_width", "ph", said("how far that pH may be off, either way"), minimum=0.02, maximum=3),
    Field("measured.of", "choice", said("what was measured"), None, ("liquor", "feed")),
    Field(
        "measured.after", "time", said("time from stirring in the ash to the reading"), minimum=0.01, maximum=24 * 60
    ),
    Field("measured.acid_drops", "volume", said("how much vinegar changed the colour of 100 mL of liquor"), maximum=10),
    Field("measured.acid_strength", "strength", said("strength of that vinegar"), minimum=0.001, maximum=1),
    Field("measured.acid_end", "ph", said("pH at which that colour changes"), minimum=4.5, maximum=9),
    Field("measured.acid_by", "choice", said("what shows that colour"), None, END_POINTS),
    Field("measured.colour", "choice", said("colour of red cabbage water in the liquor"), None, CABBAGE_COLOURS),
    Field("measured.clear_depth", "length", said("how deep you saw the liquor clear"), minimum=0.002, maximum=3),
    Field("measured.clear_after", "time", said("time from stirring until you looked"), minimum=0.01, maximum=24 * 60),
    Field("recipe", "passage", said("a recipe, as you heard it")),
    Field("happened", "passage", said("what was put on, and what is seen")),
    Field("ask", "choice", said("what you ask for, if not a batch"), None, tuple(ASKS)),
    Field("country", "choice", said("whose limits of metals count"), None, names_in("metal_countries", "country")),
    Field("ranges", "choice", said("whether the ranges are worked out too"), "on", ("on", "off")),
    Field("seed", "count", said("start of the fixed sample that the ranges rest on"), "1", maximum=1e9),
    Field("samples", "count", said("how many ashes the ranges rest on"), "40", minimum=10, maximum=400),
    Field("now", "moment", said("when the steep begins")),
)
# Fields where a number typed alone takes the usual unit of its kind, as the sizes of cans do. Ash is not among them: a
# cup of it and a gram differ in harm.
TAKE_LIKELY_UNIT = frozenset(
    (
        *("water.amount", "water.temperature", "vessel.capacity", "vessel.depth", "steep.time", "soil.area"),
        *("soil.dug_depth", "measured.ec", "measured.temperature", "measured.after", "measured.clear_after"),
    )
)
FIELD_OF_PATH = {field.path: field for field in REQUEST_FIELDS}
# Keys that a request with a season book passes on unread; `feedcalc.book` reads them.
CARRIED = ("book", "bed", "what_if", "do", "at", "by", "id", "record", "other", "text")
# Paths with a reader of their own.
STRUCTURED_PATHS = {"schema", "html", "language", "locale", "customs", "cans", "dilution", "solution", "ash.earlier"}
MOST_EARLIER = 20
# Paths that hold an object with fields below it.
GROUPS = {path.rsplit(".", depth)[0] for path in FIELD_OF_PATH for depth in (1, 2) if path.count(".") >= depth}
_WORD_KINDS = {"choice", "ash", "text", "moment", "passage"}
WORD_PATHS = {field.path for field in REQUEST_FIELDS if field.kind in _WORD_KINDS and field.path != "now"}
NUMBER_PATHS = FIELD_OF_PATH.keys() - WORD_PATHS - {"now", "ash.weighings"}
NUMBER_GROUPS = GROUPS | {"ash.weighings"}
SOLUTION_ELEMENTS = ("potassium", "sodium", "calcium", "magnesium", "carbon", "sulfur", "chloride", "phosphorus")
