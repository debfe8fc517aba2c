"""Every number on a sheet is a rounded figure of the reply or part of the fixed text."""

from __future__ import annotations

import json
import re
from functools import cache
from importlib import resources
from typing import Any

import pytest

from feedcalc import published
from feedcalc.contract.numbers import write_number
from feedcalc.engine import calculate_markdown, demo_request
from feedcalc.sheets.bars import range_bars
from tests.asking import WEIGHED, reply_to, reply_to_text, sheet_of_text

REQUESTS = {
    "demo": json.loads(demo_request()),
    "weighed": {"schema": 1, **WEIGHED, "ranges": "off"},
    "german": {"schema": 1, "locale": "de-DE", "ash": {"amount": "0,1 kg"}, "water": {"amount": "4,5 L"}},
    "hard water": {"schema": 1, **WEIGHED, "dilution_water": {"kind": "hard"}, "ranges": "off"},
    "many cans": {"schema": 1, "ranges": "off", "cans": [{"size": "9 L", "count": 4}, {"size": "1,5 L", "count": 1}]},
}
# A number with the unit of something measured behind it.
MEASURED = re.compile(r"(\d[\d.,\u202f]*)[\u00a0 ](mg/L|g/L|mS/cm|mg|g|mL|L|h|µm)(?![\w/])")


def printed(request: dict[str, Any], part: str) -> str:
    return printed_for(json.dumps(request), part)


@cache
def printed_for(request_json: str, part: str) -> str:
    reply, text = calculate_markdown(request_json, part)
    assert reply["ok"], reply["errors"]
    return text


def words_around(request: dict[str, Any]) -> str:
    """Return all text that may contain numbers: templates, cautions, typed and assumed values."""
    templates = resources.files("feedcalc.sheets") / "templates"
    reply = reply_to_text(json.dumps(request))
    return "\n".join(
        [
            *(file.read_text(encoding="utf-8") for file in templates.iterdir() if file.name.endswith(".j2")),
            *(caution["text"] for caution in reply["cautions"]),
            *(row["text"] for row in published.table("hazard_statements")),
            *(row["remedy"] for row in published.table("unknown_words")),
            *reply["warnings"],
            *reply["assumed"].values(),
            *(reason["text"] for reason in reply["values"]["reasons"]),
            json.dumps(request, ensure_ascii=False),
        ]
    )


@pytest.mark.parametrize("part", ["sheet", "settle", "delivery"])
@pytest.mark.parametrize("name", REQUESTS)
def test_every_number_with_a_unit_on_the_sheet_is_a_figure_of_the_reply(name, part):
    request = REQUESTS[name]
    sheet = sheet_of_text(json.dumps(request))
    figures = sheet.figures
    known = {(number, unit) for shown in figures.values() for number, unit in MEASURED.findall(shown.text)}
    # A range ends with the unit of its figure, which is not said twice.
    known |= {
        (number, shown.unit) for shown in figures.values() for number in re.findall(r"[\d.,\u202f]+", shown.range)
    }
    known |= {
        (write_number(limit.high, 2, sheet.locale, trim=True), limit.unit.split()[0])
        for advice in sheet.advice
        for limit in advice.limits
    }
    known |= {(row["above"], row["unit"]) for row in published.table("trace_limits")}
    known |= {pair for bar in range_bars(sheet) for pair in MEASURED.findall(bar.end)}
    known |= {(f"{trace.micrometres:.0f}", "µm") for trace in sheet.traces}
    around = set(MEASURED.findall(words_around(request).replace(" litres", " L")))
    found = MEASURED.findall(printed(request, part))
    assert len(found) > 5
    for number, unit in found:
        assert (number, unit) in known | around, f"{number} {unit} comes from nowhere"


@pytest.mark.parametrize("name", REQUESTS)
def test_the_amounts_of_the_steps_are_those_of_the_batch(name):
    request = REQUESTS[name]
    reply = reply_to_text(json.dumps(request))
    batch = reply["values"]["batch"]
    text = (
        printed(request, "sheet").replace(",", ".") if request.get("locale") == "de-DE" else printed(request, "sheet")
    )
    water = re.search(r"Put ([\d.]+)\u00a0L of water in the bucket", text)
    assert water is not None
    assert float(water.group(1)) == pytest.approx(batch["water_volume"]["value"], rel=6e-3)
    for can in batch["cans"]:
        said = rf"For a can of {can['size']['value']:g}\u00a0L: ([\d.]+)\u00a0L of water first. then ([\d.]+)\u00a0L of"
        found = re.search(said, text)
        assert found is not None
        assert float(found.group(1)) == pytest.approx(can["water"]["value"], abs=0.006)
        assert float(found.group(2)) == pytest.approx(can["liquor"]["value"], abs=0.006)
        assert float(found.group(1)) + float(found.group(2)) == pytest.approx(can["size"]["value"], abs=0.006)


def test_the_dilution_table_prints_the_rows_of_the_reply():
    reply = reply_to(WEIGHED)
    text = printed({"schema": 1, "ranges": "off", **WEIGHED}, "ladder")
    rows = re.findall(r"^\| (?:→ )?1:([\d.]+) \| ([\d.]+) \|", text, flags=re.MULTILINE)
    assert [float(parts) for parts, _ in rows] == [row["parts_water"]["value"] for row in reply["values"]["ladder"]]
    for (_, ph), row in zip(rows, reply["values"]["ladder"], strict=True):
        assert float(ph) == pytest.approx(row["ph_25"]["value"], abs=0.051)


def test_practice_and_evidence_for_seedlings_are_shown_together():
    line = next(
        line
        for line in printed({"schema": 1, "ranges": "off", **WEIGHED}, "ladder").splitlines()
        if "**seedling**" in line
    )
    assert "Often done, no source found: 1:3" in line
    assert "too strong for plugs" in line
    assert "60" in line


def test_the_sheet_says_that_a_feed_delivers_hardly_any_calcium():
    assert "hardly any calcium" in printed({"schema": 1, "ranges": "off", **WEIGHED}, "delivery")


def test_cautions_are_shown_at_their_steps():
    text = printed(REQUESTS["demo"], "sheet")
    order = [
        "Sift",
        "embers",
        "mask",
        "Measure",
        "never water onto ash",
        "Stir",
        "Pour off",
        "Dilute 1:",
        "Put the water in the can first",
        "Feed.",
        "ponds",
        "food or drink bottle",
        "More cautions",
        "aluminium",
    ]
    places = [text.index(words) for words in order]
    assert places == sorted(places)


def test_a_caustic_liquor_is_announced_before_the_first_step():
    text = printed({"schema": 1, "ash": {"state": "fresh", "kind": "hardwood"}}, "sheet")
    assert text.index("DANGER") < text.index("## What to do")
    assert text.index("H314") < text.index("## What to do")
    assert text.index("Goggles") < text.index("## What to do")


def test_a_bucket_that_is_too_small_is_mentioned_in_the_step_that_fills_it():
    text = printed(
        {"schema": 1, "cans": [{"size": "10 L", "count": 4}], "dilution": "1:3", "vessel": {"capacity": "5 L"}}, "sheet"
    )
    assert re.search(r"bucket is too small for it all: make it in [3-6] rounds, or in [3-6] buckets", text)


# -- where it is all from -----------------------------------------------------------------------------------------


def test_every_source_of_a_reply_is_a_citation():
    reply = reply_to(WEIGHED)
    known = published.sources()
    assert len(reply["sources"]) > 10
    for source in reply["sources"]:
        assert source["citation"] == known[source["id"]].citation
        assert set(source) == {"id", "citation", "doi", "errata"}


def test_every_caution_and_limit_of_a_reply_can_be_traced():
    reply = reply_to(WEIGHED)
    known = {source["id"] for source in reply["sources"]}
    for caution in (*reply["cautions"], *reply["values"]["reasons"]):
        assert caution["source"] in known
        assert caution["status"] in published.STATUSES
    for advice in reply["values"]["recommended"].values():
        for limit in advice["limits"]:
            assert limit["source"] in known


def test_a_solution_cites_the_sources_of_its_constants():
    sources = reply_to(solution={"totals": {"potassium": 10}})["sources"]
    assert {"phreeqc_3_7_3", "dickson_1981", "mccleskey_2012"} <= {source["id"] for source in sources}


def test_assumptions_are_printed_with_their_meaning():
    text = printed({"schema": 1}, "sheet")
    section = text[text.index("What we assumed") :]
    for words in ("what was burnt", "mixed", "temperature of the steep", "what the bucket holds"):
        assert words in section
    assert "seed" not in re.findall(r"`(\w+)`", section)
